//! Unknowns of an experiment with their true values.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use super::lots::{HistoryRow, history};
use super::preview::{Asked, Said, Wanted, hidden};
use super::titres;
use super::words::aligned;
use crate::desk::{self, PrepareError, Values};
use crate::files::read_value_lines;
use crate::ids::ExperimentKey;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

#[derive(Template)]
#[template(path = "coordinator/unknowns.html")]
struct UnknownsPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    unit: &'static str,
    in_unit: String,
    form: Form,
    line_faults: Vec<String>,
    titres_with: String,
    titres_head: String,
    rows: Vec<Row>,
    history: Vec<HistoryRow>,
    /// Where a form goes that asks what its values would change.
    preview: String,
}

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
    Path(key): Path<ExperimentKey>,
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
    key: &ExperimentKey,
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
            code: unknown.code.to_string(),
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
        history: history(values, &term.course.zone, |v| {
            vec![
                ("unknown", v.code.clone()),
                ("true_value", v.value.value.to_string()),
            ]
        }),
        preview: format!("/course/experiments/{key}/unknowns/preview"),
    }))
}

pub async fn enter(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let typed = one(&key, &fields);
    save(&state, &visitor, &key, fields, typed).await
}

/// `POST /course/experiments/{key}/unknowns/many`: a line for each.
pub async fn enter_many(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let typed = many(&key, fields.need("many")?);
    save(&state, &visitor, &key, fields, typed).await
}

/// `POST /course/experiments/{key}/unknowns/preview`: what other values, one or many, would change.
pub async fn preview(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let lines = fields.one("many");
    let typed = match lines {
        Some(lines) => many(&key, lines),
        None => one(&key, &fields),
    };
    let values = match typed {
        Ok(values) => values,
        Err(refusal) => return refused(&state, &visitor, &key, fields, refusal).await,
    };
    let at = format!("/course/experiments/{key}/unknowns");
    let (action, names, reason_name): (String, &[&'static str], _) = match lines {
        Some(_) => (format!("{at}/many"), &["many"], "many_reason"),
        None => (
            at.clone(),
            &["unknown", "true_value", "uncertainty"],
            "reason",
        ),
    };
    let asked = Asked {
        wanted: Wanted::Values(values),
        action,
        hidden: hidden(&fields, names),
        reason: Some((reason_name, fields.text(reason_name).to_owned())),
        back: at,
        said: Said::default(),
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => {
            let refusal = Refusal::of(why, lines.is_some());
            refused(&state, &visitor, &key, fields, refusal).await
        }
    }
}

/// Why values were not taken, with the faults of single lines.
struct Refusal {
    why: PrepareError,
    lines: Vec<String>,
}

impl Refusal {
    fn of(why: PrepareError, many: bool) -> Self {
        // the fields of the form for many are the lines and their reason
        let named = |(field, what): (&'static str, String)| match field {
            _ if !many => (field, what),
            "reason" => ("many_reason", what),
            _ => ("many", what),
        };
        let why = match why {
            PrepareError::Fields(faults) => {
                PrepareError::Fields(faults.into_iter().map(named).collect())
            }
            other => other,
        };
        let lines = Vec::new();
        Self { why, lines }
    }
}

fn one(key: &ExperimentKey, fields: &Fields) -> Result<Values, Refusal> {
    let typed = ["unknown", "true_value", "uncertainty"].map(|name| fields.text(name));
    Values::unknown(key, typed).map_err(|why| Refusal::of(why, false))
}

fn many(key: &ExperimentKey, lines: &str) -> Result<Values, Refusal> {
    match read_value_lines(lines) {
        Ok(values) => Ok(Values::unknowns(key, values)),
        Err(faults) => {
            let count = super::form::counted(faults.len(), "fault", "faults");
            let what = format!("{count}, listed beside the lines; nothing was entered");
            Err(Refusal {
                why: PrepareError::Fields(vec![("many", what)]),
                lines: faults.iter().map(ToString::to_string).collect(),
            })
        }
    }
}

async fn save(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    typed: Result<Values, Refusal>,
) -> PageResult<Response> {
    let lines = fields.one("many").is_some();
    let reason = fields.text(if lines { "many_reason" } else { "reason" });
    let entered = match typed {
        Ok(values) => {
            let who = (visitor.login.as_str(), state.clock.now());
            let entered =
                desk::enter_values(&state.desk, &values, reason, fields.one("seen"), who).await;
            entered.map_err(|why| Refusal::of(why, lines))
        }
        Err(refusal) => Err(refusal),
    };
    match entered {
        Ok(n) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/unknowns?done=unknowns&n={n}"
        ))),
        Err(refusal) => refused(state, visitor, key, fields, refusal).await,
    }
}

async fn refused(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    refusal: Refusal,
) -> PageResult<Response> {
    let form = Form::refused(fields, refusal.why)?;
    let page = unknowns(state, visitor, key, form, refusal.lines, None).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}
