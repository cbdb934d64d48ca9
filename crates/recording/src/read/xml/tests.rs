use super::*;

/// Logs every leaf that has a text, and every `i` attribute.
#[derive(Default)]
struct LeafLog(Vec<String>);

#[derive(Clone, Copy, PartialEq)]
enum Letter {
    A,
    B,
    Other,
}

impl Handler for LeafLog {
    type Element = Letter;
    const UNKNOWN: Letter = Letter::Other;
    const POINT: Letter = Letter::B;

    fn element(local_name: &[u8]) -> Letter {
        match local_name {
            b"a" => Letter::A,
            b"b" => Letter::B,
            _ => Letter::Other,
        }
    }

    fn open(&mut self, path: &[Letter], tag: &Tag<'_>) {
        if let Some(value) = tag.attribute("i") {
            self.0.push(format!("{}i={value}", path.len()));
        }
    }

    fn close(&mut self, path: &[Letter], text: &str, _at_byte: usize) {
        if !text.is_empty() {
            self.0.push(format!("{}:{text}", path.len()));
        }
    }
}

fn parsed(text: &str) -> (Vec<String>, XmlFaults) {
    let mut log = LeafLog::default();
    let faults = parse(text, &mut log);
    (log.0, faults)
}

#[test]
fn values_are_joined_and_trimmed() {
    let (log, faults) = parsed("<a> <b> 1<!-- -->2&#51;&amp;<![CDATA[<4>]]> </b></a>");
    assert_eq!(log, ["2:123&<4>"]);
    assert_eq!(faults, XmlFaults::default());
}

#[test]
fn attributes_in_either_quote_under_any_prefix() {
    assert_eq!(parsed(r#"<x:a i='1'/><a j="i=2" n:i = "3"/>"#).0, ["1i=1", "1i=3"]);
}

#[test]
fn entities_are_not_expanded() {
    let text = "<!DOCTYPE a [<!ENTITY e 'boom'>]><a>x&e;y</a>";
    let (log, faults) = parsed(text);
    assert_eq!(log, ["1:xy"]);
    assert_eq!(faults.entity, text.find('&'));
}

#[test]
fn a_wrong_closing_tag_closes_what_it_can() {
    let (log, faults) = parsed("<a><b>1</b><c><d>2</a><a><b>3</b></a>");
    assert_eq!(log, ["2:1", "2:3"]);
    assert_eq!(faults, XmlFaults { damaged: Some(18), ..XmlFaults::default() });
    let (log, faults) = parsed("<a><b>1</c></b><b>2</b></a>");
    assert_eq!(log, ["2:1", "2:2"]);
    assert_eq!(faults, XmlFaults { damaged: Some(7), ..XmlFaults::default() });
}

#[test]
fn unknown_elements_are_told_apart() {
    assert_eq!(parsed("<a><c>1</d><b>2</b></a>").1.damaged, Some(7));
    assert_eq!(parsed("<a><c>1</c><b>2</b></a>").1.damaged, None);
}

#[test]
fn a_cut_is_told_from_damage() {
    for text in ["<a><b>1</b>", "<a><b>1</b><", "<a><b>1</b><b", "<a><b>1</b><!-- "] {
        let (log, faults) = parsed(text);
        assert_eq!(log, ["2:1"], "{text}");
        assert_eq!(faults, XmlFaults { cut: Some(11), ..XmlFaults::default() }, "{text}");
    }
    let (log, faults) = parsed("<a><b i='1><b>2</b></a>");
    assert_eq!(log, ["2:2"]);
    assert_eq!(faults, XmlFaults { damaged: Some(3), ..XmlFaults::default() });
}

/// Logs all that a handler is told.
#[derive(Default)]
struct EventLog(Vec<(String, usize)>);

impl Handler for EventLog {
    type Element = Letter;
    const UNKNOWN: Letter = Letter::Other;
    const POINT: Letter = Letter::B;

    fn element(local_name: &[u8]) -> Letter {
        LeafLog::element(local_name)
    }

    fn open(&mut self, path: &[Letter], tag: &Tag<'_>) {
        let attributes = ["i", "j"].map(|name| tag.attribute(name));
        self.0.push((format!("{}+{attributes:?}", path.len()), tag.at_byte));
    }

    fn close(&mut self, path: &[Letter], text: &str, at_byte: usize) {
        self.0.push((format!("{}-{text}", path.len()), at_byte));
    }
}

fn same_both_ways(text: &str) {
    let (mut quick, mut plain) = (EventLog::default(), EventLog::default());
    let both_faults = [parse_by(text, &mut quick, true), parse_by(text, &mut plain, false)];
    assert_eq!(quick.0, plain.0, "{text}");
    assert_eq!(both_faults[0], both_faults[1], "{text}");
}

#[test]
fn points_written_alike_are_read_as_if_each_were_taken_apart() {
    use rand::{RngExt, SeedableRng};
    let points = [
        "\n <b i=\"#\" j='#'>\n  <c>#</c><d>#</d>\n  <e><x:f i=\"#\"/><a>#</a></e><!-- - -->\n </b>",
        "<b><c>#</c><d/><e x=\"#\"></e><b i='#'>#</b></b>",
        "\n<b i=\"#\"> # <c>#</c> </b>",
    ];
    let pieces: Vec<&str> = "<|>|&amp;|\"|'|</b>|<b>|<c/>|é|&e;|<![CDATA[1]]>| |<?x?>|/".split('|').collect();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let mut repetitive = 0;
    for round in 0..10_000 {
        let point = points[round % points.len()];
        let mut text = "<a>".to_owned();
        for _ in 0..rng.random_range(0..9) {
            for part in point.split_inclusive('#') {
                text.push_str(part.trim_end_matches('#'));
                if part.ends_with('#') {
                    text.push_str(["", "1.5", "é", " 2025-01-01 "][rng.random_range(0..4)]);
                }
            }
        }
        text.push_str("</a>");
        for _ in 0..rng.random_range(0..3) {
            let at = (0..=rng.random_range(0..text.len())).rfind(|&at| text.is_char_boundary(at)).unwrap();
            if rng.random_bool(0.3) {
                text.truncate(at);
                break;
            }
            text.insert_str(at, pieces[rng.random_range(0..pieces.len())]);
        }
        same_both_ways(&text);
        repetitive += usize::from(text.matches("<b").count() > 4);
    }
    assert!(repetitive > 3000, "too few have several points: {repetitive}");
}

#[test]
fn markup_that_is_broken_in_every_point_is_no_template() {
    for point in ["<b><c>1</c><d <e>2</e>&#3 </b>", "<b><c>1</c><!x><e>2</e></b>"] {
        same_both_ways(&format!("<a>{}</a>", point.repeat(40)));
    }
}

#[test]
fn a_template_is_used_up_to_the_first_difference() {
    let point = |value: &str| format!("<b i=\"{value}\"><c>{value}</c></b>");
    let text = format!("<a>{}{}{}<b><c>9</c></b></a>", point("1"), point("2"), point("3").repeat(3));
    let mut log = EventLog::default();
    let points_from = text.find("</b>").unwrap() + 4;
    let mut parser = Parser::new(&mut log, true);
    assert!(matches!(parser.run(&text, 0, &mut None), Stop::End));
    // Learnt from the second point; three more are like it, and the last differs in its first tag.
    let template = std::mem::take(&mut parser.template);
    parser.path.clear();
    let (points, stopped) = template.read_points(&text, points_from, &mut parser);
    assert_eq!((points, stopped), (4, text.find("<b><c>9").unwrap()));
}

#[test]
fn depth_is_bounded() {
    assert_eq!(parsed(&"<a>".repeat(100_000)).1.damaged, Some(3 * MAX_DEPTH));
}
