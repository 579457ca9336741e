//! Another bottle for one student, in place of the one before.

use super::{
    Arranged, Change, ChangeForm, Made, OfSlot, Reach, RecordsOf, Remarks, Replaced, SlotEvent,
    SlotForm, SlotKind, SlotPage, Who, enrolled, experiment, suggested,
};
use crate::course::{Experiment, Student};
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{ExperimentKey, UnknownCode};
use crate::term::{Reissue, Slot, Term};
use crate::text::found;

pub type Replace = OfSlot<Reissue>;

impl SlotKind for Reissue {
    const NAME: &'static str = "reissue";
    const FILE: Option<fn() -> RecordsOf<Replace>> = None;
    const REPLACED: fn(&Replace, &Term) -> Vec<Replaced> = bottles;

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.issued.insert(slot.clone(), self.unknown.clone());
        term.reissued.push(slot, self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.reissues_of(slot).to_vec()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        Some(SlotEvent {
            at: Some(self.at),
            what: format!("Bottle {} in place of {}", self.unknown, self.instead_of),
            by: Some(self.by.clone()),
            why: self.reason.clone(),
        })
    }
}

fn bottles(change: &Replace, term: &Term) -> Vec<Replaced> {
    let name = term.student(&change.slot.student).map(ToString::to_string);
    let name = format!("Bottle, {}", name.unwrap_or_default());
    let Reissue {
        instead_of,
        unknown,
        ..
    } = &change.body;
    vec![Replaced::plain(
        name,
        "",
        instead_of.as_str(),
        unknown.as_str(),
    )]
}

/// Asked for one experiment, by its key.
pub struct ReissueForm(pub ExperimentKey);

impl ReissueForm {
    fn codes<'t>(&self, term: &'t Term) -> impl Iterator<Item = &'t UnknownCode> {
        let unknowns = term.unknowns.get(&self.0).into_iter();
        unknowns.flat_map(|own| own.keys())
    }

    /// The bottle least often given out that is not the one held.
    fn least_given(&self, term: &Term, held: &UnknownCode) -> Result<UnknownCode, String> {
        let given = |code: &UnknownCode| {
            let issued = term.issued.iter();
            let to = issued.filter(|(slot, given)| slot.experiment == self.0 && *given == code);
            to.count()
        };
        let others = self.codes(term).filter(|code| *code != held);
        let least = others.min_by_key(|code| given(code)).cloned();
        least
            .ok_or_else(|| format!("found only {held}, expected another unknown of the experiment"))
    }
}

impl ChangeForm for ReissueForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let has = |student: &Student| {
            let code = term.issued.get(&Slot::new(&self.0, &student.id))?;
            Some(format!(", has {code}"))
        };
        Form::of(vec![
            Field::text("student", "Student")
                .hint("their id")
                .suggest(suggested(term.enrolled_in_order(), has)),
            Field::choice(
                "unknown",
                "Bottle they get",
                "the one least often given out",
                named(self.codes(term)),
            )
            .expected("an unknown of the experiment"),
            Field::text("reason", "Why")
                .hint("such as: the bottle broke. The student is told which bottle they have, and that it replaces another.")
                .needed()
                .wide(),
        ])
        .title("For one student")
        .note("Readings that name the bottle before stay with it. Readings that name none are marked against the new one.")
        .enter("Give it to them")
        .look("See first what it would change")
    }

    fn held(&self, _: &Term, query: &Typed) -> Typed {
        query.only(|name| name == "student")
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        let (login, at) = who;
        experiment(term, &self.0)?;
        let mut read = self.form(term, typed).read(typed);
        let student = read.keep("student", enrolled(term, typed.text("student")));
        let slot = student.map(|student| Slot::new(&self.0, &student.id));
        let held = slot.as_ref().and_then(|slot| term.issued.get(slot));
        if student.is_some() && held.is_none() {
            read.fault(
                "student",
                "found no bottle, expected one: deal the bottles out first",
            );
        }
        let unknown = held.and_then(|held| {
            let chosen = match read.said("unknown") {
                Some(code) if held == code => Err(format!(
                    "found \u{201c}{code}\u{201d}, which they have, expected another"
                )),
                Some(code) => Ok(UnknownCode::new(code)),
                None if typed.text("unknown").is_empty() => self.least_given(term, held),
                None => return None,
            };
            read.keep("unknown", chosen)
        });
        read.check()?;
        let (Some(slot), Some(held), Some(unknown)) = (slot, held, unknown) else {
            return Err(Faults::one("student", found("", "a student with a bottle")));
        };
        Ok(vec![Change::Reissue(Replace {
            slot,
            body: Reissue {
                unknown,
                instead_of: held.clone(),
                reason: read.text("reason").unwrap_or_default().to_owned(),
                by: login.to_owned(),
                at,
            },
        })])
    }

    /// A bottle that was drawn for the look is the one that is given.
    fn carried(&self, typed: &Typed, changes: &[Change]) -> Typed {
        let mut carried = typed.clone();
        for change in changes {
            if let Change::Reissue(Replace { body: reissue, .. }) = change {
                carried.set("unknown", reissue.unknown.as_str());
            }
        }
        carried
    }

    /// What becomes of readings that are in already.
    fn remarks(&self, term: &Term, changes: &[Change]) -> Box<dyn FnOnce() -> Remarks + Send> {
        let of = |change: &Change| {
            let Change::Reissue(Replace {
                slot,
                body: reissue,
            }) = change
            else {
                return None;
            };
            let hand_in = term.hand_in_of(slot)?;
            Some(match hand_in.unknown_written() {
                Some(code) => format!(
                    "What is handed in names the bottle {code} and goes on being marked against it."
                ),
                None => format!(
                    "What is handed in names no bottle, so that it is marked against {} from now on.",
                    reissue.unknown
                ),
            })
        };
        let mut sentences: Vec<String> = changes.iter().filter_map(of).collect();
        if sentences.is_empty() {
            sentences.push("Nothing is handed in yet: no mark is touched.".to_owned());
        }
        Box::new(|| Remarks {
            warnings: Vec::new(),
            sentences,
        })
    }
}

impl SlotForm for ReissueForm {
    const PAGE: SlotPage = SlotPage {
        path: "/course/experiments/{key}/reissue",
        title: "Replace a bottle",
        done: (
            "The bottle is given. The one before stays on record.",
            "reissued",
        ),
        heading: "Given so far",
        heads: ["Before", "Then"],
        replaces: true,
    };

    fn of(experiment: ExperimentKey) -> Self {
        Self(experiment)
    }

    fn words(&self, _: &Term, _: &Experiment) -> String {
        String::new()
    }

    fn instead(&self, term: &Term) -> Option<&'static str> {
        let has_bottle = |s: &Student| term.issued.contains_key(&Slot::new(&self.0, &s.id));
        let nobody = !term.enrolled().any(has_bottle);
        nobody.then_some("Nobody has a bottle yet: issue them first.")
    }

    fn arranged(&self, term: &Term, slot: &Slot) -> Vec<Arranged> {
        let row = |one: &Reissue| Arranged {
            cells: [one.instead_of.to_string(), one.unknown.to_string()],
            why: vec![(one.reason.clone(), one.by.clone(), Some(one.at))],
            is_over: false,
            can_end: false,
        };
        term.reissues_of(slot).iter().map(row).collect()
    }
}
