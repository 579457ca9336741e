//! Lots: the shelf, and one lot with its record, its days, its history and its chart.

use askama::Template;
use axum::response::IntoResponse;

use super::chart::{Chart, Version, is_off};
use super::pages::{Days, Shown, in_words};
use super::record::LOT;
use crate::changes::BottleDays;
use crate::chem::printed;
use crate::desk::ValueVersion;
use crate::desk::forms::recorded;
use crate::form::Filled;
use crate::measure::as_f64;
use crate::truth::Bottle;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::coordinator::words::aligned;
use crate::web::proving::{ProvedLine, proved_lines};
use crate::web::{Frame, Page, PageResult, PrepVisitor, dates};

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
    form: Filled,
    shown: Option<Shown>,
    proved: Vec<ProvedLine>,
    history: Vec<Past>,
    chart: Option<Chart>,
    findings: Vec<FindingRow>,
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

pub async fn list(visitor: PrepVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let today = term.course.zone.local(visitor.now()).date();
    let rows = term.lots.values().map(|lot| {
        let (molarity, uncertainty) = lot.molarity.rounded();
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

pub const DAYS: Place = Place::new(
    Who::Prep,
    "/prep/lot/days",
    |_| Ok(Box::new(BottleDays(None))),
    page,
)
.says("days", |_| "The days are changed.".to_owned())
.leads_to("/prep/lot?code={code}");

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let mut values = visit.state.desk.lot_history().await?;
        let view = visit.view().await?;
        let term = &view.term;
        let form = DAYS.filled(visit, term, refused.as_ref())?;
        let code = form.typed.text("code");
        values.retain(|value| value.code == code);
        let lot = term.lots.get(code).ok_or_else(|| visit.no_such_bottle())?;
        let zone = &term.course.zone;
        let today = zone.local(visit.now()).date();
        let life = term.shelf.get(&Bottle::Lot(lot.code.clone()));
        let versions: Vec<Version> = values
            .iter()
            .map(|value| Version {
                from: zone.local(value.at),
                value: value.value,
            })
            .collect();
        view.audited().await?;
        let findings = term.lot_findings(code, &view.audits());
        let chart = Chart::of(code, &versions, &findings);
        let held = lot.molarity;
        let (value, u) = (as_f64(held.value), as_f64(held.standard_uncertainty));
        let rows = findings.iter().map(|finding| {
            let (own, uncertainty) = finding.molarity.rounded();
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
        let recorded = source.and_then(|source| recorded(term, source));
        let mut frame = visit.frame(format!("Lot {code}"));
        frame.notice = notice(&visit.query, &[&LOT, &DAYS]);
        Ok(Page(LotPage {
            frame,
            code: code.to_owned(),
            reagent: printed(&lot.reagent),
            value: in_words(&held),
            days: Days::of(life, today),
            shown: recorded.as_ref().and_then(Shown::of),
            proved: proved_lines(term, &Bottle::Lot(lot.code.clone())),
            history: past(values, zone),
            chart,
            findings: rows,
            form,
        })
        .into_response())
    })
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
