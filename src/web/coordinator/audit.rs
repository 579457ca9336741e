//! The audit of the truth: what groups of students find against what was assigned.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::words::aligned;
use crate::course::Experiment;
use crate::files::{self, Audited};
use crate::judge::AuditKind;
use crate::measure::{from_f64, plain, to_decimals};
use crate::web::{AppState, CoordinatorVisitor, Frame, Page, PageResult};

#[derive(Template)]
#[template(path = "coordinator/audit.html")]
struct AuditPage {
    frame: Frame,
    groups: usize,
    off: usize,
    experiments: Vec<OfExperiment>,
}

/// The groups of an experiment.
struct OfExperiment {
    key: String,
    title: String,
    groups: usize,
    off: Vec<Row>,
    kinds: Vec<OfKind>,
}

/// The groups of one kind.
struct OfKind {
    name: &'static str,
    unit: &'static str,
    has_assigned: bool,
    rows: Vec<Row>,
}

/// One group.
#[derive(Clone)]
struct Row {
    kind: &'static str,
    key: String,
    unit: &'static str,
    correct: Option<String>,
    n: usize,
    assigned: Option<String>,
    mean: String,
    bias: String,
    verdict: String,
    off: bool,
}

/// `GET /course/audit`
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let audited = files::audit(&view.term, &view.in_course_order());
    let of_experiment = |experiment: &Experiment| {
        let of_kind = |kind: AuditKind| {
            let rows: Vec<Row> = audited
                .iter()
                .filter(|a| a.experiment == experiment.key && a.kind == kind)
                .map(|audited| row(audited, unit_of(experiment, kind)))
                .collect();
            (!rows.is_empty()).then(|| of_kind_aligned(experiment, kind, rows))
        };
        let kinds = [
            AuditKind::Unknown,
            AuditKind::Lot,
            AuditKind::Section,
            AuditKind::Instrument,
        ];
        let kinds: Vec<OfKind> = kinds.into_iter().filter_map(of_kind).collect();
        let rows = || kinds.iter().flat_map(|kind| &kind.rows);
        OfExperiment {
            key: experiment.key.clone(),
            title: experiment.procedure.title.clone(),
            groups: rows().count(),
            off: rows()
                .filter(|row| row.off)
                .map(Row::in_a_sentence)
                .collect(),
            kinds,
        }
    };
    let experiments: Vec<OfExperiment> = view.term.experiments.iter().map(of_experiment).collect();
    Ok(Page(AuditPage {
        frame: visitor.frame("Audit of the assigned values"),
        groups: experiments.iter().map(|e| e.groups).sum(),
        off: experiments.iter().map(|e| e.off.len()).sum(),
        experiments,
    }))
}

impl Row {
    /// Without the blanks that align it with its column.
    fn in_a_sentence(&self) -> Self {
        let trimmed = |text: &String| text.trim().to_owned();
        Self {
            mean: trimmed(&self.mean),
            assigned: self.assigned.as_ref().map(trimmed),
            ..self.clone()
        }
    }
}

fn of_kind_aligned(experiment: &Experiment, kind: AuditKind, mut rows: Vec<Row>) -> OfKind {
    let has_assigned = rows.iter().any(|row| row.assigned.is_some());
    aligned(rows.iter_mut().map(|row| &mut row.mean));
    aligned(rows.iter_mut().filter_map(|row| row.assigned.as_mut()));
    OfKind {
        name: title(kind),
        unit: unit_of(experiment, kind),
        has_assigned,
        rows,
    }
}

fn unit_of(experiment: &Experiment, kind: AuditKind) -> &'static str {
    match kind {
        AuditKind::Unknown => experiment.procedure.result.unit.name(),
        AuditKind::Lot => "mol/L",
        AuditKind::Section | AuditKind::Instrument => "% of the truth",
    }
}

/// Where the value of a group can be corrected.
fn correction(audited: &Audited) -> Option<String> {
    let code: String = form_urlencoded::byte_serialize(audited.key.as_bytes()).collect();
    match audited.kind {
        AuditKind::Unknown => Some(format!(
            "/course/experiments/{}/unknowns?unknown={code}#entry",
            audited.experiment
        )),
        AuditKind::Lot => Some(format!("/course/lots?lot={code}#entry")),
        AuditKind::Section | AuditKind::Instrument => None,
    }
}

fn title(kind: AuditKind) -> &'static str {
    match kind {
        AuditKind::Unknown => "Unknown",
        AuditKind::Lot => "Titrant lot",
        AuditKind::Section => "Section",
        AuditKind::Instrument => "Instrument",
    }
}

fn row(audited: &Audited, unit: &'static str) -> Row {
    let row = &audited.row;
    let off = audited.verdict == files::LOOKS_OFF;
    let decimals = |value: f64, n: u32| {
        from_f64(value, 12)
            .map(|value| to_decimals(value, n).to_string())
            .unwrap_or_default()
    };
    let verdict = match row.p_value {
        Some(p) if off => format!(
            "looks off: chance alone would show this in {} of such groups",
            share(p)
        ),
        Some(_) => "agrees".to_owned(),
        None => "too few to judge".to_owned(),
    };
    let bias = decimals(row.bias_percent.abs(), 2);
    let sign = match row.bias_percent {
        _ if bias == "0.00" => "\u{2007}",
        below if below < 0.0 => "\u{2212}",
        _ => "+",
    };
    // one figure more than was assigned, so that the two can be compared
    let mean = match row.assigned {
        Some(assigned) => {
            let written = assigned.normalize().scale();
            decimals(row.robust_mean, written.saturating_add(1))
        }
        None => decimals(row.robust_mean, 2),
    };
    Row {
        kind: title(audited.kind),
        unit,
        correct: correction(audited),
        key: audited.key.clone(),
        n: row.n,
        assigned: row.assigned.map(plain),
        mean,
        bias: format!(
            "{sign}{bias} \u{b1} {}",
            decimals(row.bias_uncertainty_percent, 2)
        ),
        verdict,
        off,
    }
}

/// A probability as people say it.
fn share(p: f64) -> String {
    if p < 1e-6 {
        return "fewer than 1 in a million".to_owned();
    }
    let one_in = (1.0 / p).round();
    let rounded = from_f64(one_in, 2).map(plain).unwrap_or_default();
    format!("about 1 in {rounded}")
}
