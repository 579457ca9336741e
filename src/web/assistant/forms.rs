//! The small forms of decisions, points by hand and notes; each stays folded until it is wanted.

use super::attempt::Attempt;
use super::filter::Filter;
use super::{Found, address};
use crate::columns::Column;
use crate::desk::Image;
use crate::form::{Button, Faults, Field, Filled, Form, Kind, Typed};
use crate::judge::{FlagCode, Settlement};
use crate::measure::plain;
use crate::term::Slot;

/// A form below the line that unfolds it.
pub struct Folded {
    pub summary: String,
    /// The key that opens it.
    pub key: &'static str,
    pub open: bool,
    pub form: Filled,
}

/// The key of each form, by its prefix.
const KEYS: [(&str, &str); 8] = [
    ("row-", "i"),
    ("against-", "b"),
    ("late-", "e"),
    ("return-", "r"),
    ("trial-", "t"),
    ("adjust-", "p"),
    ("points-", "h"),
    ("note-", "m"),
];

/// Makes the forms of one submission.
pub struct Folder<'a> {
    pub slot: &'a Slot,
    pub filter: &'a Filter,
    /// How many versions the page shows.
    pub seen: usize,
    pub attempt: &'a Attempt,
}

impl Folder<'_> {
    /// The forms that are open for a submission. `bottles` are the one written and the one issued, where they differ.
    pub fn all(
        &self,
        view: &Image,
        found: &Found,
        settled: &Settlement,
        bottles: Option<(String, String)>,
    ) -> Vec<Folded> {
        let marking = &found.experiment.procedure.marking;
        let evaluation = &found.judged.evaluation;
        let mut all = Vec::new();
        all.extend(self.unread(view, found));
        if let Some((written, issued)) = bottles {
            let (choice, words) = match settled.against_written {
                true => (
                    "issued",
                    format!("Mark against {issued}, the bottle issued"),
                ),
                false => (
                    "written",
                    format!("Mark against {written}, the bottle written"),
                ),
            };
            let code = if settled.against_written {
                issued
            } else {
                written
            };
            let fields = vec![Field::hidden("choice").fixed(choice), reason("Why", "")];
            all.push(self.decision("against-", words, fields, &format!("Mark against {code}")));
        }
        let is_late = evaluation.flags.iter().any(|f| f.code == FlagCode::Late);
        if marking.late.is_some() && is_late {
            let (choice, words, button) = match settled.late_excused {
                true => ("counts", "Count the lateness again", "Count it"),
                false => ("excused", "Excuse the lateness", "Excuse it"),
            };
            let fields = vec![Field::hidden("choice").fixed(choice), reason("Why", "")];
            all.push(self.decision("late-", words.to_owned(), fields, button));
        }
        if !view.is_released_to(self.slot) {
            let hint = "They read it on their page, and can hand in a correction.";
            let fields = vec![reason("Note to the student", hint)];
            all.push(self.decision(
                "return-",
                "Return to the student".to_owned(),
                fields,
                "Return",
            ));
        }
        let numbers = evaluation.trials.iter().filter_map(|t| t.trial.number());
        let trials = numbers.map(|n| match settled.left_out.contains(&n) {
            true => (format!("put-back:{n}"), format!("put trial {n} back")),
            false => (format!("leave-out:{n}"), format!("leave trial {n} out")),
        });
        let trials: Vec<(String, String)> = trials.collect();
        if !trials.is_empty() {
            let trial = Field::choice("choice", "Trial", "choose", trials).wide();
            let words = "Leave a trial out, or put it back".to_owned();
            all.push(self.decision("trial-", words, vec![trial, reason("Why", "")], "Do that"));
        }
        let held = match settled.adjustment.is_zero() {
            true => String::new(),
            false => crate::words::signed(settled.adjustment),
        };
        let points = points("Points to add").hint(
            "With a minus in front to take off. It replaces an earlier adjustment; 0 takes it back.",
        );
        let why = reason("Why", "The student reads it once results are out.");
        let mut adjust = self.decision(
            "adjust-",
            "Adjust the points".to_owned(),
            vec![points, why],
            "Adjust",
        );
        if !self.attempt.is("adjust") {
            adjust.form.typed.set("points", held);
        }
        all.push(adjust);
        if let Some(most) = marking.by_hand {
            all.push(self.by_hand(view, &plain(most)));
        }
        all
    }

    /// What can be read of a row that was set aside: the first that nobody has entered yet.
    fn unread(&self, view: &Image, found: &Found) -> Option<Folded> {
        let mut rows = view.term.set_aside.get(self.slot)?.iter();
        let row = rows.find(|row| !row.is_entered(found.revisions))?;
        let procedure = &found.experiment.procedure;
        let mut fields = match row.is_answer() {
            true => vec![Field::text("value", "Own answer").wide()],
            false => vec![Field::text("trial", "Trial").wide()],
        };
        if !row.is_answer() {
            let columns = Column::of(procedure, row.fillings()).into_iter();
            fields.extend(columns.map(|c| Field::text(c.to_string(), c.label()).wide()));
        }
        let typed: Vec<(String, String)> = fields
            .iter()
            .map(|field| field.name.to_string())
            .map(|name| {
                (
                    name.clone(),
                    row.row.get(&name).cloned().unwrap_or_default(),
                )
            })
            .collect();
        let fixed = [("line", row.line.to_string()), ("file", row.file.clone())];
        fields.extend(fixed.map(|(name, value)| Field::hidden(name).fixed(value)));
        fields.push(Field::hidden("seen").fixed(self.seen.to_string()));
        let summary = format!("Enter what can be read: {}", row.in_words());
        let mut folded = self.folded("row-", summary, "row", fields, "Enter it");
        folded.open = true;
        if !self.attempt.is("row") {
            for (name, cell) in typed {
                folded.form.typed.set(&name, cell);
            }
        }
        Some(folded)
    }

    fn decision(
        &self,
        prefix: &'static str,
        summary: String,
        mut fields: Vec<Field>,
        button: &str,
    ) -> Folded {
        fields.push(Field::hidden("seen").fixed(self.seen.to_string()));
        let action = prefix.trim_end_matches('-');
        fields.push(Field::hidden("action").fixed(action));
        self.folded(prefix, summary, "decide", fields, button)
    }

    fn by_hand(&self, view: &Image, most: &str) -> Folded {
        let given = view
            .term
            .by_hand
            .get(self.slot)
            .map(|points| plain(*points));
        let fields = vec![points(format!("Points, 0 to {most}"))];
        let summary = "Points by hand".to_owned();
        let mut folded = self.folded("points-", summary, "points", fields, "Keep");
        folded.open |= given.is_none();
        if !self.attempt.is("points") {
            folded.form.typed.set("points", given.unwrap_or_default());
        }
        folded
    }

    /// A note to the student; `waits` if they have asked for another look.
    pub fn note(&self, waits: bool) -> Folded {
        let hint = "They read it on their page. A decision answers as well.";
        let summary = if waits {
            "Answer"
        } else {
            "Write to the student"
        };
        let fields = vec![reason("Note to the student", hint)];
        let mut folded = self.folded("note-", summary.to_owned(), "note", fields, "Send");
        folded.open |= waits;
        folded
    }

    fn folded(
        &self,
        prefix: &'static str,
        summary: String,
        path: &str,
        mut fields: Vec<Field>,
        button: &str,
    ) -> Folded {
        fields.push(Field::hidden("filter").fixed(self.filter.query()));
        let mut form = Form::of(fields);
        form.buttons = vec![Button::new(button).quiet()];
        form.prefix = prefix;
        let open = self.attempt.is(prefix.trim_end_matches('-'));
        let (typed, faults) = match open {
            true => (self.attempt.typed.clone(), self.attempt.faults.clone()),
            false => (Typed::default(), Faults::default()),
        };
        let key = KEYS.iter().find(|(named, _)| *named == prefix);
        Folded {
            summary,
            key: key.map_or("", |(_, key)| *key),
            open,
            form: form.filled(format!("{}/{path}", address(self.slot)), typed, faults),
        }
    }
}

fn reason(label: &str, hint: &str) -> Field {
    Field::new("reason", label, Kind::Prose(2)).hint(hint)
}

fn points(label: impl Into<String>) -> Field {
    Field::text("points", label).wide()
}
