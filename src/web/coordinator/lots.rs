//! Lots of reagent: their values, and every value they ever had.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use super::preview::{Asked, Said, Wanted, hidden};
use super::words::aligned;
use crate::chem::{Formula, printed};
use crate::desk::{self, PrepareError, Values};
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
    /// Where a form goes that asks what its values would change.
    preview: String,
}

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
    pub code: String,
    /// From 1.
    pub version: u32,
    pub value: String,
    pub uncertainty: String,
    /// Why it replaced the one before.
    pub reason: String,
    pub by: String,
    pub at: String,
    /// Whether a later one has replaced it.
    pub replaced: bool,
    /// The fields of the form that makes it the value again, in a further version.
    pub put_back: Vec<(&'static str, String)>,
}

/// The history of what has more than one value, newest first within each code. `fields` are those of the form that
/// enters a value.
pub fn history(
    values: Vec<ValueVersion>,
    zone: &crate::course::Zone,
    fields: impl Fn(&ValueVersion) -> Vec<(&'static str, String)>,
) -> Vec<HistoryRow> {
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
            put_back: put_back(v, fields(v)),
        })
        .collect();
    rows.sort_by(|a, b| a.code.cmp(&b.code).then(b.version.cmp(&a.version)));
    rows
}

fn put_back(
    value: &ValueVersion,
    mut fields: Vec<(&'static str, String)>,
) -> Vec<(&'static str, String)> {
    let u = value.value.standard_uncertainty.to_string();
    let reason = format!("back to version {}", value.version);
    fields.extend([("uncertainty", u), ("reason", reason)]);
    fields
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
        code: lot.code.to_string(),
        remark: remark(&lot.reagent),
        reagent: printed(&lot.reagent),
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
        history: history(values, &term.course.zone, |v| {
            let reagent = term
                .lots
                .get(v.code.as_str())
                .map(|lot| lot.reagent.clone());
            vec![
                ("lot", v.code.clone()),
                ("reagent", reagent.unwrap_or_default()),
                ("molarity", v.value.value.to_string()),
            ]
        }),
        preview: "/course/lots/preview".into(),
    }))
}

pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let who = (visitor.login.as_str(), state.clock.now());
    let entered = match typed(&fields) {
        Ok(values) => {
            let (reason, seen) = (fields.text("reason"), fields.one("seen"));
            desk::enter_values(&state.desk, &values, reason, seen, who).await
        }
        Err(why) => Err(why),
    };
    match entered {
        Ok(_) => Err(PageError::see_other("/course/lots?done=lot")),
        Err(why) => refused(&state, &visitor, fields, why).await,
    }
}

/// `POST /course/lots/preview`: what another value would change.
pub async fn preview(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let answer = match typed(&fields) {
        Ok(values) => {
            let asked = Asked {
                wanted: Wanted::Values(values),
                action: "/course/lots".into(),
                hidden: hidden(&fields, &["lot", "reagent", "molarity", "uncertainty"]),
                reason: Some(("reason", fields.text("reason").to_owned())),
                back: "/course/lots".into(),
                said: Said::default(),
            };
            asked.answer(&state, &visitor).await?
        }
        Err(why) => Err(why),
    };
    match answer {
        Ok(page) => Ok(page),
        Err(why) => refused(&state, &visitor, fields, why).await,
    }
}

fn typed(fields: &Fields) -> Result<Values, PrepareError> {
    let names = ["lot", "reagent", "molarity", "uncertainty"];
    Values::lot(names.map(|name| fields.text(name)))
}

async fn refused(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    fields: Fields,
    why: PrepareError,
) -> PageResult<Response> {
    let form = Form::refused(fields, why)?;
    let page = lots(state, visitor.frame("Lots"), form).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}
