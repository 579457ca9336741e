//! The audit of the truth: what groups of students find against what was assigned.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::files::{self, Audited};
use crate::judge::AuditKind;
use crate::measure::{from_f64, plain, to_decimals};
use crate::web::{AppState, CoordinatorVisitor, Frame, Page, PageResult};

#[derive(Template)]
#[template(path = "coordinator/audit.html")]
struct AuditPage {
    frame: Frame,
    experiments: Vec<OfExperiment>,
}

/// The groups of an experiment.
struct OfExperiment {
    key: String,
    title: String,
    kinds: Vec<OfKind>,
}

/// The groups of one kind.
struct OfKind {
    name: &'static str,
    unit: &'static str,
    rows: Vec<Row>,
}

/// One group.
struct Row {
    key: String,
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
    let of_experiment = |experiment: &crate::course::Experiment| {
        let of_kind = |kind: AuditKind| {
            let rows: Vec<Row> = audited
                .iter()
                .filter(|a| a.experiment == experiment.key && a.kind == kind)
                .map(row)
                .collect();
            let unit = match kind {
                AuditKind::Unknown => experiment.procedure.result.unit.name(),
                AuditKind::Lot => "mol/L",
                AuditKind::Section | AuditKind::Instrument => "% of the truth",
            };
            (!rows.is_empty()).then_some(OfKind {
                name: title(kind),
                unit,
                rows,
            })
        };
        let kinds = [
            AuditKind::Unknown,
            AuditKind::Lot,
            AuditKind::Section,
            AuditKind::Instrument,
        ];
        OfExperiment {
            key: experiment.key.clone(),
            title: experiment.procedure.title.clone(),
            kinds: kinds.into_iter().filter_map(of_kind).collect(),
        }
    };
    Ok(Page(AuditPage {
        frame: visitor.frame("Audit of the assigned values"),
        experiments: view.term.experiments.iter().map(of_experiment).collect(),
    }))
}

fn title(kind: AuditKind) -> &'static str {
    match kind {
        AuditKind::Unknown => "Unknown",
        AuditKind::Lot => "Titrant lot",
        AuditKind::Section => "Section",
        AuditKind::Instrument => "Instrument",
    }
}

fn row(audited: &Audited) -> Row {
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
    let sign = if row.bias_percent >= 0.0 {
        "+"
    } else {
        "\u{2212}"
    };
    Row {
        key: audited.key.clone(),
        n: row.n,
        assigned: row.assigned.map(plain),
        mean: from_f64(row.robust_mean, 5).map(plain).unwrap_or_default(),
        bias: format!(
            "{sign}{} \u{b1} {}",
            decimals(row.bias_percent.abs(), 2),
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
