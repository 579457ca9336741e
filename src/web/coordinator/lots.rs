//! Lots of reagent: their values, and every value they ever had.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use super::words::aligned;
use crate::chem::Formula;
use crate::desk;
use crate::store::ValueVersion;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

#[derive(Template)]
#[template(path = "coordinator/lots.html")]
struct LotsPage {
    frame: Frame,
    form: Form,
    lots: Vec<LotRow>,
    reagents: Vec<String>,
    history: Vec<HistoryRow>,
}

/// One lot.
struct LotRow {
    code: String,
    reagent: String,
    molarity: String,
    uncertainty: String,
    version: u32,
    remark: Option<&'static str>,
}

/// One value in the history of a lot or an unknown.
pub struct HistoryRow {
    /// Lot or unknown.
    pub code: String,
    /// From 1.
    pub version: u32,
    /// The value.
    pub value: String,
    /// Its standard uncertainty.
    pub uncertainty: String,
    /// Why it replaced the one before.
    pub reason: String,
    /// Who entered it.
    pub by: String,
    /// When.
    pub at: String,
    /// Whether a later one has replaced it.
    pub replaced: bool,
}

/// The history of what has more than one value, newest first within each code.
pub fn history(values: Vec<ValueVersion>, zone: &crate::course::Zone) -> Vec<HistoryRow> {
    let latest = |code: &str| {
        let of = values.iter().filter(|v| v.code == code);
        of.map(|v| v.version).max().unwrap_or(1)
    };
    let altered = values.iter().filter(|v| {
        let count = values.iter().filter(|other| other.code == v.code).count();
        count > 1
    });
    let mut rows: Vec<HistoryRow> = altered
        .map(|v| HistoryRow {
            code: v.code.clone(),
            version: v.version,
            value: v.value.value.to_string(),
            uncertainty: v.value.standard_uncertainty.to_string(),
            reason: v.reason.clone(),
            by: v.by.clone(),
            at: dates::instant(zone, v.at),
            replaced: v.version < latest(&v.code),
        })
        .collect();
    rows.sort_by(|a, b| a.code.cmp(&b.code).then(b.version.cmp(&a.version)));
    rows
}

/// `GET /course/lots`; `?lot=` fills the form in with one to change.
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let mut frame = visitor.frame("Lots");
    frame.notice = done(&query);
    let form = {
        let view = state.desk.view().await?;
        view.term
            .lots
            .get(query.0.text("lot"))
            .map_or_else(Form::default, |lot| {
                Form::filled(&[
                    ("lot", &lot.code),
                    ("reagent", &lot.reagent),
                    ("molarity", &lot.molarity.value.to_string()),
                    (
                        "uncertainty",
                        &lot.molarity.standard_uncertainty.to_string(),
                    ),
                ])
            })
    };
    Ok(lots(&state, frame, form).await?.into_response())
}

async fn lots(state: &AppState, frame: Frame, form: Form) -> PageResult<Page<LotsPage>> {
    let values = state.desk.lot_history().await?;
    let view = state.desk.view().await?;
    let term = &view.term;
    let mut used: Vec<Formula> = Vec::new();
    for experiment in &term.experiments {
        let titrant = experiment
            .procedure
            .lot_reagent()
            .map(|(species, _)| species);
        let excess = experiment.procedure.excess.as_ref().map(|e| &e.species);
        for species in [titrant, excess].into_iter().flatten() {
            if !used.contains(species) {
                used.push(species.clone());
            }
        }
    }
    let remark = |reagent: &str| match Formula::parse(reagent) {
        Ok(formula) if used.contains(&formula) => None,
        _ => Some("no experiment uses this reagent: is it written as in the procedure?"),
    };
    let rows = term.lots.values().map(|lot| LotRow {
        code: lot.code.clone(),
        remark: remark(&lot.reagent),
        reagent: lot.reagent.clone(),
        molarity: lot.molarity.value.to_string(),
        uncertainty: lot.molarity.standard_uncertainty.to_string(),
        version: lot.version,
    });
    let mut rows: Vec<LotRow> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.molarity));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    Ok(Page(LotsPage {
        frame,
        form,
        lots: rows,
        reagents: used.iter().map(ToString::to_string).collect(),
        history: history(values, &term.course.zone),
    }))
}

/// `POST /course/lots`
pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let typed =
        ["lot", "reagent", "molarity", "uncertainty", "reason"].map(|name| fields.text(name));
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::new_lot(&state.desk, typed, who).await {
        Ok(()) => Err(PageError::see_other("/course/lots?done=lot")),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = lots(&state, visitor.frame("Lots"), form).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}
