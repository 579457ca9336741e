//! Unknowns of an experiment: the tray, and one bottle with its record, its days and its history.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::lots::{DaysForm, Past, enter_days, from, past};
use super::pages::{Days, Shown, both, in_words};
use crate::desk;
use crate::ids::{ExperimentKey, UnknownCode};
use crate::term::Term;
use crate::truth::Bottle;
use crate::web::coordinator::titres;
use crate::web::coordinator::words::aligned;
use crate::web::{
    AppState, Fields, Frame, Page, PageError, PageResult, PrepVisitor, QueryFields, dates,
};

#[derive(Template)]
#[template(path = "prep/unknowns.html")]
struct UnknownsPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    opens: String,
    unit: &'static str,
    titres_with: String,
    titres_head: String,
    sections: Vec<String>,
    rows: Vec<Row>,
}

/// A bottle on the tray.
struct Row {
    code: String,
    value: String,
    uncertainty: String,
    titre: Option<String>,
    warning: Option<String>,
    issued: usize,
    days: Days,
    from: &'static str,
}

#[derive(Template)]
#[template(path = "prep/unknown.html")]
struct UnknownPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    code: String,
    value: String,
    unit: &'static str,
    issued: usize,
    days: Days,
    form: DaysForm,
    shown: Option<Shown>,
    history: Vec<Past>,
}

pub async fn list(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = term.experiment(&key).ok_or_else(PageError::not_found)?;
    let today = term.course.zone.local(state.clock.now()).date();
    let (titres, titres_with) = titres::expected(term, experiment);
    let held = term.unknowns.get(&key).into_iter().flat_map(|u| u.values());
    let rows = held.zip(titres).map(|(unknown, titre)| {
        let (value, uncertainty) = both(unknown.truth.open());
        let life = term.shelf.get(&Bottle::unknown(&key, &unknown.code));
        let named = (key.clone(), unknown.code.clone());
        Row {
            value,
            uncertainty,
            titre: titre.volume,
            warning: titre.warning,
            issued: issued(term, &key, &unknown.code),
            days: Days::of(life, today),
            from: from(term.sources.unknowns.get(&named)),
            code: unknown.code.to_string(),
        }
    });
    let mut rows: Vec<Row> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.value));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    let title = experiment.procedure.title.clone();
    let mut frame = visitor.frame(&title);
    if query.0.text("done") == "unknowns" {
        let n: usize = query.0.text("n").parse().unwrap_or_default();
        let words = crate::web::coordinator::form::counted(n, "unknown is", "unknowns are");
        frame.notice = Some(format!("{words} recorded."));
    }
    Ok(Page(UnknownsPage {
        frame,
        title,
        opens: dates::local(experiment.dates.opens),
        unit: experiment.procedure.result.unit.name(),
        titres_with,
        titres_head: titres::head(&experiment.procedure),
        sections: term.sections().into_iter().map(str::to_owned).collect(),
        rows,
        key,
    }))
}

fn issued(term: &Term, key: &ExperimentKey, code: &str) -> usize {
    let of = term.issued.iter();
    of.filter(|(slot, given)| slot.experiment == key && *given == code)
        .count()
}

pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let notice = (query.0.text("done") == "unknown").then_some("The unknown is recorded.");
    let page = unknown(&state, &visitor, &key, query.0.text("code"), None, notice).await?;
    Ok(page.into_response())
}

pub async fn days(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let code = UnknownCode::new(fields.need("code")?.trim());
    let known = |term: &Term| {
        term.unknowns
            .get(&key)
            .is_some_and(|u| u.contains_key(&code))
    };
    if !known(&state.desk.view().await?.term) {
        return Err(PageError::not_found());
    }
    let action = format!("/prep/experiments/{key}/unknown/days");
    let bottle = Bottle::unknown(&key, &code);
    let form = match enter_days(&state, &visitor, &bottle, &fields, &action).await? {
        None => {
            let encoded: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
            return Err(PageError::see_other(format!(
                "/prep/experiments/{key}/unknown?code={encoded}"
            )));
        }
        Some(form) => form,
    };
    let page = unknown(&state, &visitor, &key, &code, Some(form), None).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}

async fn unknown(
    state: &AppState,
    visitor: &PrepVisitor,
    key: &ExperimentKey,
    code: &str,
    form: Option<DaysForm>,
    notice: Option<&str>,
) -> PageResult<Page<UnknownPage>> {
    let mut values = state.desk.unknown_history(key).await?;
    values.retain(|value| value.code == code);
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = term.experiment(key).ok_or_else(PageError::not_found)?;
    let held = term.unknowns.get(key).and_then(|u| u.get(code));
    let held = held.ok_or_else(PageError::not_found)?;
    let zone = &term.course.zone;
    let today = zone.local(state.clock.now()).date();
    let life = term.shelf.get(&Bottle::unknown(key, &held.code));
    let source = term.sources.unknowns.get(&(key.clone(), held.code.clone()));
    let recorded = source.and_then(|source| desk::recorded(term, source));
    let action = format!("/prep/experiments/{key}/unknown/days");
    let mut frame = visitor.frame(format!("Unknown {code}"));
    frame.notice = notice.map(str::to_owned);
    Ok(Page(UnknownPage {
        frame,
        key: key.to_owned(),
        title: experiment.procedure.title.clone(),
        code: code.to_owned(),
        value: in_words(held.truth.open()),
        unit: experiment.procedure.result.unit.name(),
        issued: issued(term, key, code),
        days: Days::of(life, today),
        form: form.unwrap_or_else(|| DaysForm::held(&action, code, life)),
        shown: recorded.as_ref().and_then(Shown::of),
        history: past(values, zone),
    }))
}
