//! When a lot or an unknown was made, and until when it keeps.

use serde::{Deserialize, Serialize};

use super::{Change, ChangeForm, ChangeKind, Made, Reach, Who, newer};
use crate::form::{Faults, Field, Form, Read, Typed};
use crate::ids::{ExperimentKey, LotCode, StudentId, UnknownCode};
use crate::term::Term;
use crate::truth::{Bottle, ShelfLife};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Keep {
    pub bottle: Bottle,
    #[serde(flatten)]
    pub life: ShelfLife,
}

impl ChangeKind for Keep {
    const NAME: &'static str = "shelf-life";

    fn subject(&self) -> String {
        match &self.bottle {
            Bottle::Lot(code) => code.to_string(),
            Bottle::Unknown { experiment, code } => format!("{experiment}/{code}"),
        }
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        if self.life.is_empty() {
            term.shelf.remove(&self.bottle);
        } else {
            term.shelf.insert(self.bottle.clone(), self.life);
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let change = |(bottle, life): (&Bottle, &ShelfLife)| Self {
            bottle: bottle.clone(),
            life: *life,
        };
        newer(&held.shelf, &incoming.shelf).map(change).collect()
    }
}

/// The days of a bottle: a lot, or an unknown of an experiment, by its key. The code is a field.
pub struct BottleDays(pub Option<ExperimentKey>);

/// The fields of a bottle's days.
pub fn day_fields() -> Vec<Field> {
    vec![
        Field::day("made", "Made on").hint("optional"),
        Field::day("expires", "Use until").hint("optional"),
    ]
}

/// What those fields say; a bottle keeps from when it was made.
pub fn read_days(read: &mut Read<'_>) -> ShelfLife {
    let life = ShelfLife {
        made: read.day("made"),
        expires: read.day("expires"),
    };
    if let (Some(made), Some(expires)) = (life.made, life.expires)
        && expires < made
    {
        let what = format!("found {expires}, expected a day from {made} on, when it was made");
        read.fault("expires", what);
    }
    life
}

/// Those fields filled in with what the course has.
pub fn held_days(term: &Term, bottle: &Bottle) -> Vec<(&'static str, String)> {
    let life = term.shelf.get(bottle).copied().unwrap_or_default();
    let days = [("made", life.made), ("expires", life.expires)];
    let days = days.into_iter();
    days.filter_map(|(name, day)| Some((name, day?.to_string())))
        .collect()
}

pub fn days_as(term: &Term, bottle: Bottle, life: ShelfLife) -> Option<Change> {
    let held = term.shelf.get(&bottle).copied().unwrap_or_default();
    (held != life).then_some(Change::ShelfLife(Keep { bottle, life }))
}

impl BottleDays {
    fn bottle(&self, typed: &Typed) -> Bottle {
        let code = typed.text("code");
        match &self.0 {
            None => Bottle::Lot(LotCode::new(code)),
            Some(experiment) => Bottle::unknown(experiment, &UnknownCode::new(code)),
        }
    }

    /// Whether the course has that bottle.
    pub fn is_known(&self, term: &Term, typed: &Typed) -> bool {
        let code = typed.text("code");
        match &self.0 {
            None => term.lots.contains_key(code),
            Some(experiment) => {
                let unknowns = term.unknowns.get(experiment);
                unknowns.is_some_and(|all| all.contains_key(code))
            }
        }
    }
}

impl ChangeForm for BottleDays {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        let mut fields = day_fields();
        fields.push(Field::hidden("code"));
        let mut form = Form::of(fields)
            .title("Days")
            .note("Warnings start 14 days before. What is past its day still counts in results.")
            .enter("Save the days");
        form.buttons
            .iter_mut()
            .for_each(|button| button.quiet = true);
        form
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let mut held: Typed = held_days(term, &self.bottle(query)).into_iter().collect();
        held.set("code", query.text("code"));
        held
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut read = self.form(term, typed).read(typed);
        let life = read_days(&mut read);
        read.check()?;
        if !self.is_known(term, typed) {
            return Err(Faults::found(
                "code",
                typed.text("code"),
                "a bottle of the course",
            ));
        }
        Ok(days_as(term, self.bottle(typed), life)
            .into_iter()
            .collect())
    }
}
