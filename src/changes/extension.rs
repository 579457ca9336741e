//! Other dates for one student, or those of before again.

use super::{
    Arranged, Change, ChangeForm, ChangeKind, Made, OfSlot, Reach, RecordsOf, Replaced, SlotEvent,
    SlotForm, SlotKind, SlotPage, Who, enrolled, experiment, records, suggested,
};
use crate::course::Experiment;
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{ExperimentKey, SectionName};
use crate::term::{Extension, Slot, Term};
use crate::text::{column, instant, line_of_text, local_time};
use crate::words::local;

pub type Extend = OfSlot<Extension>;

impl SlotKind for Extension {
    const NAME: &'static str = "extension";
    const FILE: Option<fn() -> RecordsOf<Extend>> = Some(file);
    const REPLACED: fn(&Extend, &Term) -> Vec<Replaced> = dates;

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.extensions.push(slot, self.clone());
    }

    /// A student who works with another section is compared with that one.
    fn reach(slot: &Slot) -> Reach {
        Reach::Experiment(slot.experiment.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.extensions.get(slot).cloned().unwrap_or_default()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        let due = self.due.map(|due| format!("due {}", local(due)));
        let section = self.section.as_ref();
        let section = section.map(|name| format!("made up with section {name}"));
        let what: Vec<String> = [due, section].into_iter().flatten().collect();
        Some(SlotEvent {
            at: self.at,
            what: match what.is_empty() {
                true => "Dates as the section's again".to_owned(),
                false => format!("Arranged: {}", what.join(", ")),
            },
            by: Some(self.by.clone()),
            why: self.reason.clone(),
        })
    }
}

fn file() -> RecordsOf<Extend> {
    records(
        "extensions.csv",
        &[],
        [
            column!(Extend: "due", body.due, any local_time),
            column!(Extend: "section", body.section, any known section),
            column!(Extend: "reason", body.reason, line_of_text),
            column!(Extend: "by", body.by, line_of_text).optional(),
            column!(Extend: "at", body.at, any instant).optional(),
        ],
    )
}

/// When the student is due, and with whom.
fn dates(change: &Extend, term: &Term) -> Vec<Replaced> {
    let slot = &change.slot;
    let mut after = term.clone();
    change.apply(&mut after, None);
    let name = term.student(&slot.student).map(ToString::to_string);
    let name = name.unwrap_or_default();
    let of = |term: &Term| {
        let experiment = term.experiment(&slot.experiment)?;
        let student = term.student(&slot.student)?;
        let due = local(term.dates_of(experiment, student).due);
        Some((due, term.works_in(&slot.experiment, student).to_string()))
    };
    let (before, then) = (of(term).unwrap_or_default(), of(&after).unwrap_or_default());
    let mut rows = vec![Replaced::plain(
        format!("Due, {name}"),
        "local time",
        before.0,
        then.0,
    )];
    if before.1 != then.1 {
        let name = format!("Works with section, {name}");
        rows.push(Replaced::plain(name, "", before.1, then.1));
    }
    rows
}

/// Asked for one experiment, by its key.
pub struct ExtensionForm(pub ExperimentKey);

impl ChangeForm for ExtensionForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        Form::of(vec![
            Field::text("student", "Student")
                .hint("their id")
                .suggest(suggested(term.enrolled_in_order(), |_| Some(String::new())))
                .wide(),
            Field::local_time("due", "Due").hint("longer time: due then"),
            Field::choice(
                "section",
                "Makes it up with section",
                "their own",
                named(term.sections()),
            )
            .hint("its dates and its lots hold")
            .expected("a section of the roster"),
            Field::text("reason", "Why").needed().wide(),
        ])
        .title("One student")
        .enter("Arrange it")
        .look("See first what it would change")
    }

    fn held(&self, _: &Term, query: &Typed) -> Typed {
        query.only(|name| name == "student")
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        let (login, at) = who;
        let experiment = experiment(term, &self.0)?;
        let mut read = self.form(term, typed).read(typed);
        let student = read.keep("student", enrolled(term, typed.text("student")));
        let slot = student.map(|student| Slot::new(&self.0, &student.id));
        let due = read.local_time("due");
        let section = read.said("section").map(SectionName::new);
        if let (Some(student), Some(name)) = (student, &section)
            && student.section == name
        {
            let what = format!("found {name}, the student's own, expected another section or none");
            read.fault("section", what);
        }
        let nothing = typed.text("due").is_empty() && typed.text("section").is_empty();
        let held = slot.as_ref().and_then(|slot| term.extension(slot));
        if nothing && student.is_some() && held.is_none() {
            read.fault(
                "due",
                "found neither a date nor a section, expected one or both",
            );
        }
        if let (Some(student), Some(due)) = (student, due) {
            let section = section.as_ref().unwrap_or(&student.section);
            let opens = experiment.dates_in(section).opens;
            if due <= opens {
                let what = format!("found {due}, expected a time after it opens on {opens}");
                read.fault("due", what);
            }
        }
        read.check()?;
        let reason = read.text("reason").unwrap_or_default().to_owned();
        let extension = Extension {
            due,
            section,
            reason,
            by: login.to_owned(),
            at: Some(at),
        };
        let extend = |slot| {
            Change::Extend(Extend {
                slot,
                body: extension,
            })
        };
        Ok(slot.map(extend).into_iter().collect())
    }
}

impl SlotForm for ExtensionForm {
    const PAGE: SlotPage = SlotPage {
        path: "/course/experiments/{key}/extensions",
        title: "Dates and extensions",
        done: ("The new date holds.", "extended"),
        heading: "Arranged",
        heads: ["Due", "With section"],
        replaces: false,
    };

    fn of(experiment: ExperimentKey) -> Self {
        Self(experiment)
    }

    fn words(&self, term: &Term, experiment: &Experiment) -> String {
        format!(
            "Due {} by the clocks of {}, where nothing else is said here. What is handed in already is marked anew by a changed date.",
            local(experiment.dates.due),
            term.course.zone.name()
        )
    }

    fn said(&self, term: &Term, slot: &Slot) -> Option<String> {
        let (experiment, student) = (term.experiment(&self.0)?, term.student(&slot.student)?);
        let due = local(term.dates_of(experiment, student).due);
        let name = format!("{} {}", student.given_name, student.family_name);
        Some(format!("{name} now has until {due}."))
    }

    fn arranged(&self, term: &Term, slot: &Slot) -> Vec<Arranged> {
        let row = || {
            let all = term.extensions.get(slot)?;
            let (experiment, student) = (term.experiment(&self.0)?, term.student(&slot.student)?);
            let now = term.extension(slot);
            let section = now.and_then(|one| one.section.as_ref());
            let why = all.iter().rev();
            Some(Arranged {
                cells: [
                    local(term.dates_of(experiment, student).due),
                    section.map_or_else(|| "own".to_owned(), ToString::to_string),
                ],
                why: why
                    .map(|one| (one.reason.clone(), one.by.clone(), one.at))
                    .collect(),
                is_over: now.is_none(),
                can_end: now.is_some(),
            })
        };
        row().into_iter().collect()
    }
}
