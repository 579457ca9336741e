//! Unknowns of an experiment: the tray, and one bottle with its record, its days and its history.

use askama::Template;
use axum::response::IntoResponse;

use super::lots::{Past, from, past};
use super::pages::{Days, Shown, in_words};
use super::record::{BATCH, UNKNOWN};
use crate::changes::BottleDays;
use crate::desk::forms::recorded;
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::term::Term;
use crate::truth::Bottle;
use crate::web::at::ExperimentAt;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::coordinator::titres;
use crate::web::coordinator::words::aligned;
use crate::web::proving::{ProvedLine, proved_lines};
use crate::web::{Frame, Page, PageResult, PrepVisitor, QueryFields, dates};

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
    form: Filled,
    shown: Option<Shown>,
    proved: Vec<ProvedLine>,
    history: Vec<Past>,
}

pub async fn list(
    visitor: PrepVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let today = term.course.zone.local(visitor.now()).date();
    let (titres, titres_with) = titres::expected(term, experiment);
    let held = term
        .unknowns
        .get(&*key)
        .into_iter()
        .flat_map(|u| u.values());
    let rows = held.zip(titres).map(|(unknown, titre)| {
        let (value, uncertainty) = unknown.truth.open().rounded();
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
    frame.notice = notice(&query.0, &[&BATCH]);
    Ok(Page(UnknownsPage {
        frame,
        title,
        opens: dates::local(experiment.dates.opens),
        unit: experiment.procedure.result.unit.name(),
        titres_with,
        titres_head: titres::head(&experiment.procedure),
        sections: term.sections().into_iter().map(str::to_owned).collect(),
        rows,
        key: key.into_key(),
    }))
}

fn issued(term: &Term, key: &ExperimentKey, code: &str) -> usize {
    let of = term.issued.iter();
    of.filter(|(slot, given)| slot.experiment == key && *given == code)
        .count()
}

pub const DAYS: Place = Place::new(
    Who::Prep,
    "/prep/experiments/{key}/unknown/days",
    |visit| Ok(Box::new(BottleDays(Some(visit.key()?.clone())))),
    page,
)
.says("days", |_| "The days are changed.".to_owned())
.leads_to("/prep/experiments/{key}/unknown?code={code}");

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let key = visit.key()?;
        let mut values = visit.state.desk.unknown_history(key).await?;
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let form = DAYS.filled(visit, term, refused.as_ref())?;
        let code = form.typed.text("code");
        values.retain(|value| value.code == code);
        let held = term.unknowns.get(key).and_then(|u| u.get(code));
        let held = held.ok_or_else(|| visit.no_such_bottle())?;
        let zone = &term.course.zone;
        let today = zone.local(visit.now()).date();
        let life = term.shelf.get(&Bottle::unknown(key, &held.code));
        let source = term.sources.unknowns.get(&(key.clone(), held.code.clone()));
        let recorded = source.and_then(|source| recorded(term, source));
        let mut frame = visit.frame(format!("Unknown {code}"));
        frame.notice = notice(&visit.query, &[&UNKNOWN, &DAYS]);
        Ok(Page(UnknownPage {
            frame,
            key: key.to_owned(),
            title: experiment.procedure.title.clone(),
            code: code.to_owned(),
            value: in_words(held.truth.open()),
            unit: experiment.procedure.result.unit.name(),
            issued: issued(term, key, code),
            days: Days::of(life, today),
            shown: recorded.as_ref().and_then(Shown::of),
            proved: proved_lines(term, &Bottle::unknown(key, &held.code)),
            history: past(values, zone),
            form,
        })
        .into_response())
    })
}
