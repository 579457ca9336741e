//! `decisions.csv`: what staff decided.

use std::collections::BTreeMap;

use super::bottles::slots;
use super::known::Known;
use crate::submission::TrialLabel;
use crate::term::{Decision, Ruling, Slot, Term};
use crate::text::{
    Columns, Fault, Table, code, decimal, found, guarded, instant, whole, write_csv,
};

const HEADER: [&str; 8] = [
    "experiment",
    "student_id",
    "at",
    "by",
    "ruling",
    "detail",
    "reason",
    "revision",
];

/// Reads decisions in the order of the file.
pub(super) fn read_decisions(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> BTreeMap<Slot, Vec<Decision>> {
    let mut all: BTreeMap<Slot, Vec<Decision>> = BTreeMap::new();
    let Some(table) = Table::read(
        "decisions.csv",
        bytes,
        &Columns::new(&HEADER[..7], &HEADER[7..]),
        faults,
    ) else {
        return all;
    };
    for row in &table.rows {
        let experiment = table.get(row, "experiment", |text| known.experiment(text), faults);
        let student = table.get(row, "student_id", |text| known.student(text), faults);
        let at = table.get(row, "at", instant, faults);
        let by = table.get(row, "by", code, faults);
        let revision = table.get_if_any(row, "revision", |text| whole(text, 1..=10_000), faults);
        let (name, detail) = (
            table.cell(row, "ruling").trim(),
            table.cell(row, "detail").trim(),
        );
        let ruling = ruling(name, detail)
            .map_err(|(column, what)| faults.push(table.fault(row, column, what)))
            .ok();
        if let (Some(experiment), Some(student), Some(at), Some(by), Some(ruling)) =
            (experiment, student, at, by, ruling)
        {
            all.entry(Slot {
                experiment,
                student,
            })
            .or_default()
            .push(Decision {
                ruling,
                // none said: whatever is the last, known once the hand-ins are
                revision: revision.unwrap_or(0),
                reason: table.cell(row, "reason").to_owned(),
                by,
                at,
            });
        }
    }
    all
}

fn ruling(name: &str, detail: &str) -> Result<Ruling, (&'static str, String)> {
    let in_detail = |what: String| ("detail", what);
    let trial = || whole(detail, 1..=TrialLabel::MAX).map_err(in_detail);
    let yes = || match detail {
        "true" => Ok(true),
        "false" => Ok(false),
        other => Err(in_detail(found(other, "true or false"))),
    };
    let bare = |ruling: Ruling| match detail {
        "" => Ok(ruling),
        other => Err(in_detail(found(other, "nothing for this ruling"))),
    };
    match name {
        "accept" => bare(Ruling::Accept),
        "return" => bare(Ruling::Return),
        "take-back" => bare(Ruling::TakeBack),
        "leave-out" => Ok(Ruling::LeaveOut { trial: trial()? }),
        "put-back" => Ok(Ruling::PutBack { trial: trial()? }),
        "adjust" => Ok(Ruling::Adjust {
            points: decimal(detail).map_err(in_detail)?,
        }),
        "against-written" => Ok(Ruling::AgainstWritten { written: yes()? }),
        "excuse-late" => Ok(Ruling::ExcuseLate { excused: yes()? }),
        other => Err((
            "ruling",
            found(
                other,
                "accept, return, leave-out, put-back, adjust, against-written, excuse-late or take-back",
            ),
        )),
    }
}

/// The decisions of a term; none if there is none.
pub(super) fn write_decisions(term: &Term) -> Option<String> {
    let rows: Vec<_> = slots(term)
        .filter_map(|slot| Some((term.decisions.get(&slot)?, slot)))
        .flat_map(|(decisions, slot)| decisions.iter().map(move |decision| row(&slot, decision)))
        .collect();
    (!rows.is_empty()).then(|| write_csv(&HEADER, rows))
}

fn row(slot: &Slot, decision: &Decision) -> [String; 8] {
    let (name, detail) = match &decision.ruling {
        Ruling::Accept => ("accept", String::new()),
        Ruling::Return => ("return", String::new()),
        Ruling::TakeBack => ("take-back", String::new()),
        Ruling::LeaveOut { trial } => ("leave-out", trial.to_string()),
        Ruling::PutBack { trial } => ("put-back", trial.to_string()),
        Ruling::Adjust { points } => ("adjust", points.to_string()),
        Ruling::AgainstWritten { written } => ("against-written", written.to_string()),
        Ruling::ExcuseLate { excused } => ("excuse-late", excused.to_string()),
    };
    [
        slot.experiment.to_string(),
        guarded(&slot.student),
        decision.at.to_string(),
        guarded(&decision.by),
        name.to_owned(),
        detail,
        guarded(&decision.reason),
        decision.revision.to_string(),
    ]
}
