#[test]
fn dbg_groups() {
    use super::super::align;
    use super::super::measure;
    let seg = super::super::testing::segmentation("w300 r60 w120 r60 w120 r60 w120 r60 w420");
    let series = super::super::testing::Track::of(&seg).build();
    let p = measure::pieces(&seg, &series);
    let steps: Vec<_> = super::super::testing::parse(super::SIX)
        .iter()
        .map(|(g, s)| {
            (
                if *g == super::Gait::Run {
                    crate::prescription::Move::Run
                } else {
                    crate::prescription::Move::Walk
                },
                *s,
            )
        })
        .collect();
    let t = align::targets(&steps);
    eprintln!("{:#?}", align::align(&p, &t, &align::Costs::default()));
}
