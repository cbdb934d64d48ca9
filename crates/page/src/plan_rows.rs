//! The plan as a form: what was sent, what becomes of the text, what there is to say about each row.

use std::collections::BTreeMap;

use jogaudit_core::prescription::Plan;
use jogaudit_core::prescription::edit::{
    Change, EditError, Place, PlanRows, RowFault, Values, plan_with, plan_with_values, row_faults,
};
use jogaudit_core::prescription::lint::{LintCode, LintConfig, lint};
use jogaudit_report::plan_lint::{LintView, RemarkView};

use super::day_form::one_line;
use super::refusal::Refusal;

/// Bytes of a text that is shown as a form, and rows of it; a larger one is shown as text.
const MOST_BYTES: usize = 256 << 10;
const MOST_ROWS: usize = 200;

/// What the form sends.
#[derive(Debug, Default)]
pub(super) struct Sent {
    /// The text that the form was made from.
    pub(super) text: String,
    /// The hash of the file that this text began as.
    pub(super) of: String,
    /// The button.
    pub(super) action: String,
    /// What the fields hold.
    fields: Vec<Field>,
}

impl Sent {
    /// Takes the fields of a form; what is none of ours is left.
    pub(super) fn read(pairs: &[(String, String)]) -> Result<Self, Refusal> {
        let mut sent = Self::default();
        for (name, value) in pairs {
            match name.as_str() {
                "plan" => sent.text = unpacked(value)?,
                "of" => sent.of.clone_from(value),
                "do" => sent.action.clone_from(value),
                _ => {
                    let Some((place, key)) = name.split_once('.') else { continue };
                    let Some(place) = Place::read(place) else { continue };
                    let Some(key) = place.keys().find(|known| *known == key) else { continue };
                    sent.fields.push((place, key, one_line(&value.replace("\r\n", " "))));
                }
            }
        }
        Ok(sent)
    }

    /// The change of the rows that the button asks for.
    fn change(&self) -> Option<Change> {
        let (verb, place) = self.action.split_once(':')?;
        let place = Place::read(place)?;
        Some(match (verb, place) {
            ("add", _) => Change::AddAfter(place),
            ("kind", Place::Stage(stage)) => Change::AddKind(stage),
            ("copy", _) => Change::Copy(place),
            ("up", _) => Change::Up(place),
            ("down", _) => Change::Down(place),
            ("remove", _) => Change::Remove(place),
            _ => return None,
        })
    }
}

/// A text in one line, which browsers leave as it is: they would write its line ends anew.
pub(super) fn packed(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

fn unpacked(value: &str) -> Result<String, Refusal> {
    serde_json::from_str(value)
        .map_err(|_| Refusal::new(422, "this form came without its plan", "open the plan again"))
}

/// The form as it is shown.
pub(super) struct PlanForm {
    /// The text that it stands for, with all that could be written into it.
    pub(super) text: String,
    pub(super) rows: PlanRows,
    /// What was typed and could not be written.
    typed: BTreeMap<(Place, &'static str), String>,
    /// What keeps it from being a plan, and what could not be changed.
    pub(super) faults: Vec<RowFault>,
    /// How many mistakes there are, shown or not.
    pub(super) fault_count: usize,
    /// Why the rows were not changed as asked for.
    pub(super) trouble: Option<&'static str>,
    /// Remarks on one row each.
    remarks: Vec<(Place, RemarkView)>,
    /// Remarks on several rows, with these rows.
    pub(super) shared: Vec<(Vec<Place>, RemarkView)>,
    /// What the plan's reader noticed.
    pub(super) notices: Vec<String>,
}

/// A field of the form: its row, its key, what was sent.
type Field = (Place, &'static str, String);

/// Writes fields into a text, by halves where not all can be written at once, and gives those that only the text can change. A
/// field whose row is gone is left out.
fn written<'s>(text: &mut String, fields: &'s [Field]) -> Vec<&'s Field> {
    let set: Vec<(Place, &str, &str)> = fields.iter().map(|(p, k, v)| (*p, *k, v.as_str())).collect();
    match (plan_with_values(text, &set), fields) {
        (Ok(after), _) => {
            *text = after;
            Vec::new()
        }
        (Err(EditError::OnlyByText), [one]) => vec![one],
        (Err(_), [] | [_]) => Vec::new(),
        (Err(_), several) => {
            let (first, rest) = several.split_at(several.len() / 2);
            let mut refused = written(text, first);
            refused.extend(written(text, rest));
            refused
        }
    }
}

impl PlanForm {
    /// The form of a text; none where it cannot be shown as one.
    pub(super) fn of(text: String) -> Option<Self> {
        Self::after(text, BTreeMap::new(), Vec::new(), None)
    }

    /// Writes what was sent into its text: the fields, then what the button asks for.
    pub(super) fn changed(sent: &Sent) -> Option<Self> {
        let (mut text, mut typed, mut refused) = (sent.text.clone(), BTreeMap::new(), Vec::new());
        for (place, key, value) in written(&mut text, &sent.fields) {
            typed.insert((*place, *key), value.clone());
            let message = "this can only be changed in the text of the plan".to_owned();
            refused.push(RowFault { place: *place, key: Some(*key), message, at: None, help: None });
        }
        let mut trouble = None;
        if let Some(change) = sent.change() {
            // Rows that move would take what was typed and not written to the wrong place.
            match if typed.is_empty() { plan_with(&text, change) } else { Err(EditError::OnlyByText) } {
                Ok(after) => text = after,
                Err(EditError::OnlyByText) => {
                    trouble =
                        Some("These rows can only be changed in the text of the plan: nothing was moved.");
                }
                Err(EditError::NoSuchRow | EditError::NoRows) => {
                    trouble = Some("There is no such row any more: nothing was changed.");
                }
            }
        }
        Self::after(text, typed, refused, trouble)
    }

    fn after(
        text: String,
        typed: BTreeMap<(Place, &'static str), String>,
        refused: Vec<RowFault>,
        trouble: Option<&'static str>,
    ) -> Option<Self> {
        let rows = PlanRows::read(&text).ok().filter(|_| text.len() <= MOST_BYTES)?;
        if rows.stages.iter().map(|stage| 1 + stage.kinds.len()).sum::<usize>() > MOST_ROWS {
            return None;
        }
        let (fault_count, faults) = (refused.len(), refused);
        let mut form = Self {
            text,
            rows,
            typed,
            faults,
            fault_count,
            trouble,
            remarks: Vec::new(),
            shared: Vec::new(),
            notices: Vec::new(),
        };
        match Plan::parse(&form.text) {
            Err(error) => {
                form.fault_count += error.count();
                form.faults.extend(row_faults(&form.text, &error));
            }
            Ok(noted) => {
                form.notices = noted.notices.iter().map(|notice| notice.text.clone()).collect();
                form.look_over(&noted.value);
            }
        }
        Some(form)
    }

    /// Puts the linter's remarks to the rows that they are about.
    fn look_over(&mut self, plan: &Plan) {
        let view = LintView::new(plan, &lint(plan, LintConfig::default()));
        for remark in view.remarks {
            let places: Vec<Place> = remark.stages.iter().filter_map(|name| place_of(plan, name)).collect();
            match places.as_slice() {
                _ if remark.code == LintCode::RunCadenceIsWalking => {
                    self.remarks.push((Place::Runner, remark));
                }
                [] => self.remarks.push((Place::Limits, remark)),
                [one] => self.remarks.push((*one, remark)),
                _ => self.shared.push((places, remark)),
            }
        }
    }

    /// What a field holds.
    pub(super) fn value(&self, place: Place, key: &'static str) -> &str {
        let typed = self.typed.get(&(place, key));
        let values: Option<&Values> = self.rows.values(place);
        typed.or_else(|| values.and_then(|values| values.get(key))).map_or("", String::as_str)
    }

    /// The mistakes of a field, or of a row as a whole.
    pub(super) fn faults_at(&self, place: Place, key: Option<&str>) -> impl Iterator<Item = &RowFault> {
        self.faults.iter().filter(move |fault| fault.place == place && fault.key == key)
    }

    /// The remarks on a row.
    pub(super) fn remarks_at(&self, place: Place) -> impl Iterator<Item = &RemarkView> {
        self.remarks.iter().filter(move |(at, _)| *at == place).map(|(_, remark)| remark)
    }

    /// How many remarks there are.
    pub(super) fn remark_count(&self) -> usize {
        self.remarks.len() + self.shared.len()
    }

    /// Whether it is a plan that can be saved.
    pub(super) fn can_be_saved(&self) -> bool {
        self.fault_count == 0
    }
}

/// The row of a stage or of a kind of session.
fn place_of(plan: &Plan, name: &str) -> Option<Place> {
    let at = plan.stages.iter().position(|stage| stage.name == name)?;
    let stage = &plan.stages[at];
    let first = plan.kinds_at(stage.place).start;
    Some(match stage.kind {
        Some(_) => Place::Kind(stage.place, at - first),
        None => Place::Stage(stage.place),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "# mine\n[limits]\nsessions_per_week = 3\n[[stage]]\nname = 'a'\nsession = '6 x (run 0:50, walk 1:40)'\n\
        sessions = 3\n\n[[stage]]\nname = 'b'\nsessions = 2\n[[stage.session]]\nname = 'x'\ndo = 'run 20:00'\n";

    fn sent(text: &str, action: &str, fields: &[(&str, &str)]) -> Sent {
        let own = [("plan", packed(text)), ("do", action.to_owned()), ("of", "0".to_owned())];
        let own = own.into_iter().map(|(name, value)| (name.to_owned(), value));
        let fields = fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
        Sent::read(&own.chain(fields).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn fields_are_written_before_rows_move() {
        let sent = sent(
            PLAN,
            "down:s0",
            &[("s0.session", "run 0:50,\r\nwalk 1:40"), ("s0.do", "x"), ("x.y", "z"), ("q", "")],
        );
        let form = PlanForm::changed(&sent).unwrap();
        assert_eq!(form.value(Place::Stage(1), "session"), "run 0:50, walk 1:40");
        assert_eq!(form.value(Place::Stage(0), "name"), "b");
        assert!(form.text.starts_with("# mine\n") && form.can_be_saved());
    }

    #[test]
    fn mistakes_and_remarks_stand_at_their_rows() {
        let form = PlanForm::of(PLAN.to_owned()).unwrap();
        let codes = |place| form.remarks_at(place).map(|remark| remark.code).collect::<Vec<_>>();
        assert!(codes(Place::Kind(1, 0)).contains(&LintCode::SessionRunningJump), "{:?}", form.remarks);
        assert!(codes(Place::Stage(0)).contains(&LintCode::FirstStageWithoutCeiling), "{:?}", form.remarks);
        let (places, rest) = &form.shared[0];
        assert_eq!(
            (rest.code, places.as_slice()),
            (LintCode::RestDaysMissing, &[Place::Stage(0), Place::Kind(1, 0)][..])
        );
        let wrong =
            PlanForm::changed(&sent(PLAN, "save", &[("s1k0.do", "run 0:5x"), ("s0.sessions", "two")]))
                .unwrap();
        assert_eq!((wrong.fault_count, wrong.remark_count(), wrong.can_be_saved()), (2, 0, false));
        assert_eq!(wrong.faults_at(Place::Kind(1, 0), Some("do")).count(), 1);
        assert_eq!(wrong.value(Place::Stage(0), "sessions"), "two");
    }

    #[test]
    fn what_only_the_text_can_change_is_said_and_what_was_typed_stays() {
        let text = "stage = [{name = '1', session = 'run 0:50'}, {name = '2', session = 'run 1:00'}]\n";
        let fields = [("s0.session", "run 0:40"), ("s0.sessions", "2")];
        let form = PlanForm::changed(&sent(text, "up:s1", &fields)).unwrap();
        assert_eq!(form.text, text.replace("'run 0:50'", "\"run 0:40\""));
        assert_eq!(form.value(Place::Stage(0), "sessions"), "2");
        assert_eq!(form.faults_at(Place::Stage(0), Some("sessions")).count(), 1);
        assert!(form.trouble.is_some() && !form.can_be_saved());
    }

    #[test]
    fn what_is_too_large_or_no_toml_is_no_form() {
        assert!(PlanForm::of("title = ".to_owned()).is_none());
        assert!(PlanForm::of("[[stage]]\n".repeat(MOST_ROWS)).is_some());
        assert!(PlanForm::of("[[stage]]\n".repeat(MOST_ROWS + 1)).is_none());
        assert!(PlanForm::of(format!("# {}", "x".repeat(MOST_BYTES))).is_none());
    }

    #[test]
    fn line_ends_come_back_as_they_were() {
        for text in ["a\r\nb\n\"é\\\t", "", "\u{feff}x\n\n"] {
            assert!(!packed(text).contains(['\n', '\r']));
            assert_eq!(unpacked(&packed(text)).unwrap(), text);
        }
        assert!(unpacked("x").is_err());
    }
}
