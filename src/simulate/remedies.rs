//! What would make a procedure finer: other glassware from the laboratory's table, another trial.

use crate::measure::{Class, Glassware, GlasswareKind, GlasswareTable};
use crate::procedure::{Common, Procedure, SampleBy};
use crate::schemes::Scheme;

use super::fairness::fairness;

/// One change and what it brings.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// The change, such as “a 25 mL pipette, class A, instead of the 25 mL cylinder, class B”.
    pub change: String,
    /// Relative standard uncertainty a careful student reaches with it, percent.
    pub reachable_percent: f64,
    /// The same without it, percent.
    pub from_percent: f64,
}

/// A change that brings less is not worth a word.
const WORTHWHILE: f64 = 0.85;
/// As many as are named.
const NAMED: usize = 3;

/// The changes that help most, best first.
pub fn remedies(procedure: &Procedure, table: &GlasswareTable) -> Vec<Remedy> {
    let reached = |procedure: &Procedure| fairness(procedure, 1, 1).map(|f| f.reachable_percent);
    let Ok(from_percent) = reached(procedure) else {
        return Vec::new();
    };
    let mut found: Vec<Remedy> = changes(procedure, table)
        .into_iter()
        .filter_map(|(change, common, scheme)| {
            let changed = Procedure::new(common, |common| scheme.again(common)).ok()?;
            Some(Remedy {
                change,
                reachable_percent: reached(&changed).ok()?,
                from_percent,
            })
        })
        .filter(|remedy| remedy.reachable_percent < WORTHWHILE * from_percent)
        .collect();
    found.sort_by(|a, b| a.reachable_percent.total_cmp(&b.reachable_percent));
    found.truncate(NAMED);
    found
}

impl Remedy {
    pub fn words(&self) -> String {
        let figures = |value: f64| {
            crate::measure::from_f64(value, 2)
                .map(crate::measure::plain)
                .unwrap_or_default()
        };
        let share = self.reachable_percent / self.from_percent;
        let bring = if (0.45..=0.55).contains(&share) {
            "would halve it"
        } else if share < 0.45 {
            "would more than halve it"
        } else {
            "would make it smaller"
        };
        format!(
            "{} {bring}: {} % instead of {} %",
            self.change,
            figures(self.reachable_percent),
            figures(self.from_percent)
        )
    }
}

/// Every change that can be made with the table, one at a time.
fn changes(procedure: &Procedure, table: &GlasswareTable) -> Vec<(String, Common, Scheme)> {
    let parts: &Common = procedure;
    let mut found = Vec::new();
    let mut change = |words: String, make: &dyn Fn(&mut Common, &mut Scheme)| {
        let (mut common, mut scheme) = (parts.clone(), procedure.scheme.clone());
        make(&mut common, &mut scheme);
        found.push((words, common, scheme));
    };
    let instead = |new: &Glassware, old: &Glassware| {
        format!("a {} instead of the {}", new.title(), old.title())
    };
    let sample = &parts.sample.glassware;
    for piece in table.iter() {
        let pipette = parts.sample.by == SampleBy::Volume
            && sample.kind() == GlasswareKind::Cylinder
            && piece.kind() == GlasswareKind::Pipette
            && piece.class() == Some(Class::A)
            && piece.capacity() == parts.sample.nominal;
        if pipette || is_finer(piece, sample) {
            change(instead(piece, sample), &|p, _| {
                p.sample.glassware = piece.clone()
            });
        }
        for (place, old) in procedure
            .scheme
            .clone()
            .pieces_mut()
            .into_iter()
            .enumerate()
        {
            if is_finer(piece, old) {
                change(instead(piece, old), &|_, scheme| {
                    if let Some(of_scheme) = scheme.pieces_mut().into_iter().nth(place) {
                        *of_scheme = piece.clone();
                    }
                });
            }
        }
        if let Some(aliquot) = &parts.sample.aliquot {
            if is_finer(piece, &aliquot.flask) {
                change(instead(piece, &aliquot.flask), &|p, _| {
                    if let Some(aliquot) = &mut p.sample.aliquot {
                        aliquot.flask = piece.clone();
                    }
                });
            }
            if is_finer(piece, &aliquot.pipette) {
                change(instead(piece, &aliquot.pipette), &|p, _| {
                    if let Some(aliquot) = &mut p.sample.aliquot {
                        aliquot.pipette = piece.clone();
                    }
                });
            }
        }
    }
    let trials = parts.trials.minimum.saturating_add(1);
    change(
        format!("{trials} trials instead of {}", parts.trials.minimum),
        &|p, _| {
            p.trials.minimum = trials;
        },
    );
    found
}

/// The same kind and size to a smaller tolerance, or a balance that reads more finely.
fn is_finer(piece: &Glassware, than: &Glassware) -> bool {
    let size = if piece.kind() == GlasswareKind::Balance {
        piece.graduation() < than.graduation()
    } else {
        piece.capacity() == than.capacity()
    };
    piece.kind() == than.kind() && size && piece.tolerance() < than.tolerance()
}
