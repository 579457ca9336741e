//! Unknowns of an experiment with their true values.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use super::lots::{HistoryRow, history};
use super::titres;
use super::words::aligned;
use crate::desk::{self, PrepareError};
use crate::files::read_value_lines;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

#[derive(Template)]
#[template(path = "coordinator/unknowns.html")]
struct UnknownsPage {
    frame: Frame,
    key: String,
    title: String,
    unit: &'static str,
    in_unit: String,
    form: Form,
    line_faults: Vec<String>,
    titres_with: String,
    titres_head: String,
    rows: Vec<Row>,
    history: Vec<HistoryRow>,
}

/// One unknown.
struct Row {
    code: String,
    value: String,
    uncertainty: String,
    version: u32,
    issued: usize,
    titre: Option<String>,
    warning: Option<String>,
}

/// `GET /course/experiments/{key}/unknowns`; `?unknown=` fills the form in with one to change.
pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = {
        let view = state.desk.view().await?;
        let unknowns = view.term.unknowns.get(&key);
        let unknown = unknowns.and_then(|u| u.get(query.0.text("unknown")));
        unknown.map_or_else(Form::default, |unknown| {
            let truth = unknown.truth.open();
            Form::filled(&[
                ("unknown", &unknown.code),
                ("true_value", &truth.value.to_string()),
                ("uncertainty", &truth.standard_uncertainty.to_string()),
            ])
        })
    };
    let page = unknowns(&state, &visitor, &key, form, Vec::new(), done(&query)).await?;
    Ok(page.into_response())
}

async fn unknowns(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &str,
    form: Form,
    line_faults: Vec<String>,
    notice: Option<String>,
) -> PageResult<Page<UnknownsPage>> {
    let values = state.desk.unknown_history(key).await?;
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, key)?;
    let (titres, titres_with) = titres::expected(term, experiment);
    let issued = |code: &str| {
        let of = term.issued.iter();
        of.filter(|(slot, given)| slot.experiment == key && *given == code)
            .count()
    };
    let held = term.unknowns.get(key).into_iter().flat_map(|u| u.values());
    let rows = held.zip(titres).map(|(unknown, titre)| {
        let truth = unknown.truth.open();
        Row {
            code: unknown.code.clone(),
            value: truth.value.to_string(),
            uncertainty: truth.standard_uncertainty.to_string(),
            version: unknown.version,
            issued: issued(&unknown.code),
            titre: titre.volume,
            warning: titre.warning,
        }
    });
    let mut rows: Vec<Row> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.value));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    let title = experiment.procedure.title.clone();
    let unit = experiment.procedure.result.unit.name();
    let mut frame = visitor.frame(format!("Unknowns: {title}"));
    frame.notice = notice;
    Ok(Page(UnknownsPage {
        frame,
        key: key.to_owned(),
        title,
        unit,
        in_unit: format!("in {unit}"),
        form,
        line_faults,
        titres_with,
        titres_head: titres::head(&experiment.procedure),
        rows,
        history: history(values, &term.course.zone),
    }))
}

/// `POST /course/experiments/{key}/unknowns`
pub async fn enter(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let typed = [
        key.as_str(),
        fields.text("unknown"),
        fields.text("true_value"),
        fields.text("uncertainty"),
        fields.text("reason"),
    ];
    let who = (visitor.login.as_str(), state.clock.now());
    let entered = desk::new_unknown(&state.desk, typed, who).await;
    answer(&state, &visitor, &key, fields, entered.map(|()| 1)).await
}

/// `POST /course/experiments/{key}/unknowns/many`: a line for each.
pub async fn enter_many(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let values = match read_value_lines(fields.need("many")?) {
        Ok(values) => values,
        Err(faults) => {
            let count = super::form::counted(faults.len(), "fault", "faults");
            let why = PrepareError::Fields(vec![(
                "many",
                format!("{count}, listed beside the lines; nothing was entered"),
            )]);
            let faults = faults.iter().map(ToString::to_string).collect();
            let form = Form::refused(fields, why)?;
            let page = unknowns(&state, &visitor, &key, form, faults, None).await?;
            return Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    let who = (visitor.login.as_str(), state.clock.now());
    let reason = fields.text("many_reason");
    let entered = desk::enter_unknowns(&state.desk, &key, values, reason, who).await;
    // the fields of this form are the lines and their reason
    let entered = entered.map_err(|why| match why {
        PrepareError::Fields(faults) => PrepareError::Fields(
            faults
                .into_iter()
                .map(|(field, what)| match field {
                    "reason" => ("many_reason", what),
                    _ => ("many", what),
                })
                .collect(),
        ),
        other => other,
    });
    answer(&state, &visitor, &key, fields, entered).await
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &str,
    fields: Fields,
    entered: Result<usize, PrepareError>,
) -> PageResult<Response> {
    match entered {
        Ok(n) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/unknowns?done=unknowns&n={n}"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = unknowns(state, visitor, key, form, Vec::new(), None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}
