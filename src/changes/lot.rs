//! A lot, or another value for one.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, GivenValue, Made, Reach, Replaced, next_version, written};
use crate::ids::StudentId;
use crate::term::Term;
use crate::truth::{Bottle, Lot};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct LotValue {
    #[serde(flatten)]
    pub lot: Lot,
    pub source: Option<String>,
    /// Why it replaces the value before; empty for the first.
    pub reason: String,
}

/// Why a value that an incoming term has otherwise is another.
pub(super) fn brought_in_again(known: bool) -> String {
    let reason = if known {
        "imported again with another value"
    } else {
        ""
    };
    reason.to_owned()
}

impl ChangeKind for LotValue {
    const NAME: &'static str = "lot";
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = values;

    fn subject(&self) -> String {
        self.lot.code.to_string()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn given_value(&self) -> Option<GivenValue<'_>> {
        Some(GivenValue {
            bottle: Bottle::Lot(self.lot.code.clone()),
            version: self.lot.version,
            source: self.source.as_ref(),
        })
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let code = &self.lot.code;
        match &self.source {
            Some(text) => term.sources.lots.insert(code.clone(), text.clone()),
            None => term.sources.lots.remove(code),
        };
        term.lots.insert(code.clone(), self.lot.clone());
    }

    fn reach(&self, before: &Term) -> Reach {
        let code = &self.lot.code;
        match before.lots.get(code) {
            Some(held) if held.reagent == self.lot.reagent => Reach::Lot(code.clone()),
            // the only lot of a course counts for everything
            None if before.lots.len() > 1 => Reach::Lot(code.clone()),
            Some(_) | None => Reach::All,
        }
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let mut fresh = Vec::new();
        for lot in incoming.lots.values() {
            let old = held.lots.get(&lot.code);
            let source = incoming.sources.lots.get(&lot.code).cloned();
            let same = old
                .is_some_and(|old| old.reagent == lot.reagent && old.molarity == lot.molarity)
                && held.sources.lots.get(&lot.code) == source.as_ref();
            if !same {
                let version = next_version(old.map(|l| l.version)).max(lot.version);
                fresh.push(Self {
                    lot: Lot {
                        version,
                        ..lot.clone()
                    },
                    source,
                    reason: brought_in_again(old.is_some()),
                });
            }
        }
        fresh
    }
}

fn values(LotValue { lot, source, .. }: &LotValue, term: &Term) -> Vec<Replaced> {
    let old = term.lots.get(&lot.code);
    vec![Replaced {
        name: format!("Lot {}, {}", lot.code, lot.reagent),
        unit: "mol/L",
        before: old.map(|old| written(&old.molarity, term.sources.lots.get(&lot.code))),
        after: written(&lot.molarity, source.as_ref()),
        unknown: None,
    }]
}
