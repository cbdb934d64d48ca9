use proptest::prelude::*;

use super::*;

fn shown(limits: &str, session: &str, recommended: Option<Recommendation>) -> String {
    let text = format!(
        "title = 'Back on the path'\n[limits]\n{limits}\n[[stage]]\nname = '2'\nsession = '{session}'"
    );
    let plan = Plan::parse(&text).unwrap().value;
    anstream::adapter::strip_str(&card(&plan, &plan.stages[0], recommended)).to_string()
}

const LIMITS: &str = "pace_ceiling = '6:45 /km'\nheart_rate_ceiling = '150 bpm'\nwalk_cadence_floor = '110 spm'\n\
    session_ceiling = '45:00'\npain_limit = 2";

#[test]
fn the_card_reads_as_meant() {
    assert_eq!(
        shown(LIMITS, "walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00", None),
        "\
Next session: stage “2”
Back on the path
walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00
28:00 in all, 10:00 of running, 18:00 of walking.

     at what         for
   0:00 walk        5:00
   5:00 run 1       2:00
   7:00 walk        2:00
   9:00 run 2       2:00
  11:00 walk        2:00
  13:00 run 3       2:00
  15:00 walk        2:00
  17:00 run 4       2:00
  19:00 walk        2:00
  21:00 run 5       2:00
  23:00 walk        2:00
  25:00 walk        3:00

Run slowly: no faster than 6:45 /km.
Heart rate never above 150 bpm; the whole session no longer than 45:00.
Walk briskly: at least 110 steps a minute, both feet counted (one foot: 55).
Pain above 2 of 10, or pain that rises as you go: stop running.
With swelling, a limp, pain at night or pain that stays, see a health
professional. What your clinician says takes precedence over this card.
"
    );
}

#[test]
fn by_distance_the_clock_is_the_distance() {
    let card = shown("", "for 2 mi (walk 0.1 mi, run 0.4 mi)", None);
    assert!(card.contains("   0 mi walk      0.1 mi\n 0.1 mi run 1     0.4 mi\n 0.5 mi walk"), "{card}");
    assert!(card.contains("Any pain: stop"), "without a limit any pain counts: {card}");
}

#[test]
fn orders_are_those_of_the_session() {
    let floor = "walk_cadence_floor = '105 spm'";
    let rests = shown(floor, "3 x (run 3:10, rest 1:10)", None);
    assert!(!rests.contains("Walk") && !rests.contains("of walking"), "{rests}");
    assert!(shown(floor, "walk 400 m, run 2:10", None).contains("at least 105 steps"), "walking by distance");
    // A watch that counts one foot shows whole numbers.
    assert!(
        shown(floor, "walk 4:40, run 2:10", None)
            .contains("at least 105 steps a minute, both feet counted (one foot: 53).")
    );
}

#[test]
fn a_count_that_rises_says_where_to_begin() {
    let card = shown("", "walk 6:00, 4 rising to 7 x (run 1:40, walk 2:20)", None);
    assert!(
        card.contains("Begin with 4 repetitions. Each session done as prescribed adds one, up to 7."),
        "{card}"
    );
}

#[test]
fn alternating_until_a_distance_is_said_in_a_sentence() {
    let card = shown("", "walk 10:00, for 1.5 mi (walk 2:00, run 3:00), walk 5:00", None);
    assert!(card.contains("10:00 in turn   1.5 mi"), "{card}");
    assert!(card.contains("      – walk        5:00"), "no clock after a distance: {card}");
    assert!(card.contains("In turn for 1.5 mi: walk 2:00, run 3:00; the last is cut there."), "{card}");
    let card = shown("", "walk 4:00, for 22:00 to 28:00 (run 3:00, walk 1:30, run 2:40, walk 1:20)", None);
    assert!(card.lines().all(|line| !line.ends_with('…')), "nothing is cut off: {card}");
}

#[test]
fn rest_and_the_clinician_take_the_place_of_the_session() {
    for (asked, said) in
        [(Recommendation::Rest, "rest"), (Recommendation::SeeClinician, "see a health professional")]
    {
        let card = shown(LIMITS, "walk 5:00, 5 x (run 2:00, walk 2:00)", Some(asked));
        assert!(card.starts_with(&format!("For now: {said}\n")), "{card}");
        assert!(!card.contains("run 1") && !card.contains("2:00"), "{card}");
    }
    let kept = shown(LIMITS, "run 20:00", Some(Recommendation::Advance));
    assert!(kept.contains("run 1"));
}

#[test]
fn runs_with_their_own_ceilings_are_named() {
    let card = shown("pace_ceiling = '6:45 /km'", "2 x (run 3:00, walk 1:00), run 3:00 @ 7:30 /km", None);
    assert!(card.contains("no faster than 6:45 /km in run 1, 2, 7:30 /km in run 3."), "{card}");
}

#[test]
fn the_prescribers_words_stand_on_the_card_and_cannot_steer_a_terminal() {
    let text = "title = 'Back'\nnote = \"Talk \u{202e}as you run.\"\ncontact = 'Ring 555 0101.'\n[[stage]]\nname = '2'\n\
        note = '<b>Stay off the hill.</b>'\neffort_ceiling = 4\nsession = 'walk 3:40, run 0:50'";
    let plan = Plan::parse(text).unwrap().value;
    let of = |asked| anstream::adapter::strip_str(&card(&plan, &plan.stages[0], asked)).to_string();
    let kept = of(None);
    for said in
        ["\nTalk \\u{202e}as you run.\n", "\n<b>Stay off the hill.</b>\n", "\nEffort never above 4 of 10.\n"]
    {
        assert!(kept.contains(said), "{kept}");
    }
    let words = kept.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.ends_with("over this card. Contact: Ring 555 0101."), "{kept}");
    // Without a session there is nothing to say about it, but a professional is named.
    let ask = of(Some(Recommendation::SeeClinician));
    let words = ask.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!ask.contains("hill") && words.contains("Contact: Ring 555"), "{ask}");
}

#[test]
fn long_sessions_are_folded() {
    let card = shown("", "walk 5:00, 40 x (run 1:00, walk 0:30), walk 5:00", None);
    // 82 runs and walks; the last walk begins at 5:00 + 40 × 1:30 = 1:05:00.
    assert!(card.contains("1:05:00 walk        5:00"), "{card}");
    assert!(card.contains("… stands for 47 more runs and walks"), "{card}");
}

proptest! {
    #[test]
    fn no_card_is_longer_than_half_a_page(
        times in 1u32..200, run in 1u32..300, walk in 1u32..300, nested in 1u32..4, by_distance: bool,
    ) {
        let walk = if by_distance { format!("{} m", walk + 50) } else { format!("{walk} s") };
        let session = format!(
            "walk 5:00, {times} x ({nested} x (run {run} s @ 7:00 /km, walk {walk}), run 1:00 @ 6:30 /km), \
             for 20:00 (run 400 m, walk 1:00), for 1 km (run 1:00, walk 1:00), walk 5:00"
        );
        let (note, contact) = ("words ".repeat(24), "somebody ".repeat(11));
        let (note, contact) = (note.trim(), contact.trim());
        let text = format!(
            "note = '{note}'\ncontact = '{contact}'\n[limits]\n{LIMITS}\npace_basis = 'level'\neffort_ceiling = 4.5\n\
             [[stage]]\nname = '1'\nnote = '{note}'\nsession = '{session}'"
        );
        let Ok(plan) = Plan::parse(&text) else { return Ok(()) };
        let card = card(&plan.value, &plan.value.stages[0], None);
        let card = anstream::adapter::strip_str(&card).to_string();
        prop_assert!(card.lines().count() <= MOST_LINES, "{}", card);
        prop_assert!(card.lines().all(|line| line.chars().count() <= WIDTH), "{}", card);
    }
}
