//! Lots: the shelf, and one lot with its record, its days, its history and its chart.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::chart::{Chart, Version, is_off};
use super::pages::{Days, Shown, both, day_faults, in_words};
use crate::chem::printed;
use crate::desk::{self, PrepareError};
use crate::ids::LotCode;
use crate::measure::as_f64;
use crate::store::ValueVersion;
use crate::truth::{Bottle, ShelfLife};
use crate::web::coordinator::words::aligned;
use crate::web::{
    AppState, Fields, Frame, Page, PageError, PageResult, PrepVisitor, QueryFields, dates,
};

#[derive(Template)]
#[template(path = "prep/lots.html")]
struct LotsPage {
    frame: Frame,
    rows: Vec<Row>,
}

/// A lot on the shelf.
struct Row {
    code: String,
    reagent: String,
    molarity: String,
    uncertainty: String,
    days: Days,
    from: &'static str,
}

#[derive(Template)]
#[template(path = "prep/lot.html")]
struct LotPage {
    frame: Frame,
    code: String,
    reagent: String,
    value: String,
    days: Days,
    form: DaysForm,
    shown: Option<Shown>,
    history: Vec<Past>,
    chart: Option<Chart>,
    findings: Vec<FindingRow>,
}

/// The form of a bottle's days.
pub struct DaysForm {
    pub action: String,
    pub code: String,
    pub made: String,
    pub expires: String,
    /// What is wrong with the first.
    pub made_fault: Option<String>,
    /// What is wrong with the second.
    pub expires_fault: Option<String>,
}

/// A value it had, or has.
pub struct Past {
    /// From 1.
    pub version: u32,
    pub value: String,
    /// Why it replaced the one before.
    pub reason: String,
    /// Who entered it, and when.
    pub by: String,
    /// Whether a later one has replaced it.
    pub replaced: bool,
}

/// What one section finds.
struct FindingRow {
    section: String,
    experiment: String,
    at: String,
    n: usize,
    value: String,
    uncertainty: String,
    percent: String,
    off: bool,
}

pub async fn list(
    State(state): State<AppState>,
    visitor: PrepVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let today = term.course.zone.local(state.clock.now()).date();
    let rows = term.lots.values().map(|lot| {
        let (molarity, uncertainty) = both(&lot.molarity);
        let life = term.shelf.get(&Bottle::Lot(lot.code.clone()));
        Row {
            code: lot.code.to_string(),
            reagent: printed(&lot.reagent),
            molarity,
            uncertainty,
            days: Days::of(life, today),
            from: from(term.sources.lots.get(&lot.code)),
        }
    });
    let mut rows: Vec<Row> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.molarity));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    let frame = visitor.frame("Lots");
    Ok(Page(LotsPage { frame, rows }))
}

/// Where a value comes from, in a word.
pub fn from(source: Option<&String>) -> &'static str {
    match source {
        None => "as stated",
        Some(text) if text.contains("standardised]") => "standardised",
        Some(text) if text.contains("stock_mol_per_L") => "diluted",
        Some(_) => "weighed",
    }
}

pub async fn page(
    State(state): State<AppState>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let notice = (query.0.text("done") == "lot").then_some("The lot is recorded.");
    let page = lot(&state, &visitor, query.0.text("code"), None, notice).await?;
    Ok(page.into_response())
}

pub async fn days(
    State(state): State<AppState>,
    visitor: PrepVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let code = LotCode::new(fields.need("code")?.trim());
    if !state.desk.view().await?.term.lots.contains_key(&code) {
        return Err(PageError::not_found());
    }
    let bottle = Bottle::Lot(code.clone());
    let form = match enter_days(&state, &visitor, &bottle, &fields, "/prep/lot/days").await? {
        None => {
            let encoded: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
            return Err(PageError::see_other(format!("/prep/lot?code={encoded}")));
        }
        Some(form) => form,
    };
    let page = lot(&state, &visitor, &code, Some(form), None).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}

/// Enters the days of a bottle; the form again where something is wrong with them.
pub async fn enter_days(
    state: &AppState,
    visitor: &PrepVisitor,
    bottle: &Bottle,
    fields: &Fields,
    action: &str,
) -> PageResult<Option<DaysForm>> {
    let faults = day_faults(fields);
    if faults.is_empty() {
        let day = |name: &str| crate::text::day(fields.text(name)).ok();
        let life = ShelfLife {
            made: day("made"),
            expires: day("expires"),
        };
        let who = (visitor.login.as_str(), state.clock.now());
        return match desk::set_shelf_life(&state.desk, bottle, life, who).await {
            Ok(()) => Ok(None),
            Err(PrepareError::Store(why)) => Err(why.into()),
            Err(why) => Err(PageError::unprocessable(why.to_string())),
        };
    }
    let fault = |name: &str| {
        let of = faults.iter().find(|(field, _)| field == name);
        of.map(|(_, what)| what.clone())
    };
    Ok(Some(DaysForm {
        action: action.to_owned(),
        code: fields.text("code").to_owned(),
        made: fields.text("made").to_owned(),
        expires: fields.text("expires").to_owned(),
        made_fault: fault("made"),
        expires_fault: fault("expires"),
    }))
}

impl DaysForm {
    /// The form as the course has the days.
    pub fn held(action: &str, code: &str, life: Option<&ShelfLife>) -> Self {
        let life = life.copied().unwrap_or_default();
        let text = |day: Option<jiff::civil::Date>| day.map(|d| d.to_string()).unwrap_or_default();
        Self {
            action: action.to_owned(),
            code: code.to_owned(),
            made: text(life.made),
            expires: text(life.expires),
            made_fault: None,
            expires_fault: None,
        }
    }
}

async fn lot(
    state: &AppState,
    visitor: &PrepVisitor,
    code: &str,
    form: Option<DaysForm>,
    notice: Option<&str>,
) -> PageResult<Page<LotPage>> {
    let values = state.desk.lot_history().await?;
    let values: Vec<ValueVersion> = values.into_iter().filter(|v| v.code == code).collect();
    let view = state.desk.view().await?;
    let term = &view.term;
    let lot = term.lots.get(code).ok_or_else(PageError::not_found)?;
    let zone = &term.course.zone;
    let today = zone.local(state.clock.now()).date();
    let life = term.shelf.get(&Bottle::Lot(LotCode::new(code)));
    let versions: Vec<Version> = values
        .iter()
        .map(|value| Version {
            from: zone.local(value.at),
            value: value.value,
        })
        .collect();
    let findings = term.lot_findings(code, &term.audit(view.judged.iter()));
    let chart = Chart::of(code, &versions, &findings);
    let held = lot.molarity;
    let (value, u) = (as_f64(held.value), as_f64(held.standard_uncertainty));
    let rows = findings.iter().map(|finding| {
        let (own, uncertainty) = both(&finding.molarity);
        let off = 100.0 * (as_f64(finding.molarity.value) / value - 1.0);
        let title = term.experiment(&finding.experiment);
        FindingRow {
            section: finding.section.clone(),
            experiment: title.map(|e| e.procedure.title.clone()).unwrap_or_default(),
            at: super::pages::day(Some(finding.at.date())),
            n: finding.n,
            value: own,
            uncertainty,
            percent: format!("{off:+.2}").replace('-', "\u{2212}"),
            off: is_off(finding, value, u),
        }
    });
    let mut rows: Vec<FindingRow> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.value));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    let source = term.sources.lots.get(code);
    let recorded = source.and_then(|source| desk::recorded(term, source));
    let mut frame = visitor.frame(format!("Lot {code}"));
    frame.notice = notice.map(str::to_owned);
    Ok(Page(LotPage {
        frame,
        code: code.to_owned(),
        reagent: printed(&lot.reagent),
        value: in_words(&held),
        days: Days::of(life, today),
        form: form.unwrap_or_else(|| DaysForm::held("/prep/lot/days", code, life)),
        shown: recorded.as_ref().and_then(Shown::of),
        history: past(values, zone),
        chart,
        findings: rows,
    }))
}

/// Every value, newest first.
pub fn past(values: Vec<ValueVersion>, zone: &crate::course::Zone) -> Vec<Past> {
    let latest = values.iter().map(|v| v.version).max();
    let one = |v: &ValueVersion| Past {
        version: v.version,
        value: in_words(&v.value),
        reason: v.reason.clone(),
        by: format!("{}, {}", v.by, dates::instant(zone, v.at)),
        replaced: Some(v.version) < latest,
    };
    values.iter().rev().map(one).collect()
}
