//! Readings as they were written, with the volumes they deliver: what a student sees before release.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::entry::title;
use crate::columns::Column;
use crate::measure::{from_f64, plain, to_decimals};
use crate::procedure::{Procedure, SampleBy, Scheme};
use crate::stats::Replicates;
use crate::submission::{HandIn, Titration};
use crate::workup::{WorkUp, WorkUpInput, work_up};

/// One titration in a table of readings.
pub struct TrialRow {
    /// What people call it.
    pub title: String,
    /// Start and end readings of each filling.
    pub pieces: Vec<(String, String)>,
    /// Sample readings as written; before and after for a mass difference.
    pub sample: String,
    /// Delivered volume, mL, with the burette's decimals.
    pub delivered: String,
}

/// Spread of what the numbered trials delivered: mL, or mL per gram where samples are weighed.
pub struct VolumeSpread {
    /// `mL` or `mL/g`.
    pub unit: &'static str,
    /// How many.
    pub n: usize,
    /// Mean.
    pub mean: String,
    /// Largest less smallest.
    pub range: String,
    /// Standard deviation; none for a single trial.
    pub s: Option<String>,
}

/// The titrations of a hand-in.
pub fn trial_rows(procedure: &Procedure, hand_in: &HandIn) -> Vec<TrialRow> {
    let done = volumes_only(procedure, hand_in);
    let rows = hand_in.titrations.iter().zip(&done.trials);
    rows.map(|(titration, outcome)| TrialRow {
        title: title(titration.trial),
        pieces: titration
            .burette
            .iter()
            .map(|p| (p.start.to_string(), p.end.to_string()))
            .collect(),
        sample: sample_text(procedure, titration),
        delivered: outcome
            .delivered
            .map(|id| volume(procedure, done.graph.value(id)))
            .unwrap_or_default(),
    })
    .collect()
}

/// Unit of the sample's readings; empty where the sample is not read.
pub fn sample_unit(procedure: &Procedure) -> &'static str {
    if Column::of_sample(procedure).is_empty() {
        ""
    } else {
        procedure.sample.glassware.kind().unit()
    }
}

/// The spread of a hand-in's volumes; none without a numbered trial, and none for a weighed sample in a back
/// titration, whose volumes need not agree in any simple way.
pub fn volume_spread(procedure: &Procedure, hand_in: &HandIn) -> Option<VolumeSpread> {
    let weighed = procedure.sample.by != SampleBy::Volume;
    if weighed && procedure.scheme == Scheme::Back {
        return None;
    }
    let done = volumes_only(procedure, hand_in);
    let numbered = hand_in
        .titrations
        .iter()
        .zip(&done.trials)
        .filter(|(t, _)| t.trial.number().is_some());
    let values: Vec<Decimal> = numbered
        .filter_map(|(titration, outcome)| {
            let delivered = done.graph.value(outcome.delivered?);
            if weighed {
                delivered.checked_div(mass(titration)?)
            } else {
                Some(delivered)
            }
        })
        .collect();
    let spread = Replicates::of(&values).ok()?;
    let decimals = procedure.titrant.burette.decimals().unwrap_or(2);
    let mean_decimals = if weighed {
        decimals
    } else {
        decimals.saturating_add(1)
    };
    Some(VolumeSpread {
        unit: if weighed { "mL/g" } else { "mL" },
        n: spread.n,
        mean: to_decimals(spread.mean, mean_decimals).to_string(),
        range: volume(procedure, spread.range),
        s: spread.s.and_then(|s| from_f64(s, 2)).map(plain),
    })
}

/// Mass of a weighed sample, g.
fn mass(titration: &Titration) -> Option<Decimal> {
    let sample = &titration.sample;
    let difference = sample.before.as_ref().zip(sample.after.as_ref());
    let by_difference =
        difference.and_then(|(before, after)| before.value().checked_sub(after.value()));
    sample
        .mass
        .as_ref()
        .map(|mass| mass.value())
        .or(by_difference)
}

/// Worked up without any lot: delivered volumes and nothing else.
fn volumes_only(procedure: &Procedure, hand_in: &HandIn) -> WorkUp {
    let none = BTreeSet::new();
    work_up(WorkUpInput {
        procedure,
        hand_in,
        lots: &[],
        left_out: &none,
    })
}

fn volume(procedure: &Procedure, value: Decimal) -> String {
    let decimals = procedure.titrant.burette.decimals().unwrap_or(2);
    to_decimals(value, decimals).to_string()
}

fn sample_text(procedure: &Procedure, titration: &Titration) -> String {
    let readings = Column::of_sample(procedure)
        .into_iter()
        .filter_map(|column| column.get(titration));
    readings
        .map(|r| r.written().to_owned())
        .collect::<Vec<_>>()
        .join(" \u{2192} ")
}
