//! Lots of reagent with their values, and every value they ever had. They are entered in the prep room.

use askama::Template;
use axum::response::IntoResponse;

use super::words::aligned;
use crate::chem::{Formula, printed};
use crate::desk::ValueVersion;
use crate::desk::forms::{StatedForm, What, reagents};
use crate::truth::Assigned;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::prep::record;
use crate::web::{Frame, Page, dates};

/// A value proposed for a lot.
pub const LOT: Place = Place::new(
    Who::Coordinator,
    "/course/lots",
    |_| Ok(Box::new(StatedForm(What::Lot))),
    page,
)
.says("lot", |_| "The lot is entered.".to_owned());

#[derive(Template)]
#[template(path = "coordinator/lots.html")]
struct LotsPage {
    frame: Frame,
    lots: Vec<LotRow>,
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
        .map(|v| (v, as_stated(&v.value)))
        .map(|(v, (value, uncertainty))| HistoryRow {
            code: v.code.clone(),
            version: v.version,
            value,
            uncertainty,
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

/// A value as it was stated; one that was computed has more digits than anybody reads.
fn as_stated(value: &Assigned) -> (String, String) {
    const MOST: u32 = 8;
    if value.value.scale().max(value.standard_uncertainty.scale()) > MOST {
        return value.rounded();
    }
    let figures = [value.value, value.standard_uncertainty];
    let [value, u] = figures.map(|figure| figure.to_string());
    (value, u)
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

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        if refused.is_some() {
            return record::stated(visit, &LOT, refused.as_ref(), "Lots").await;
        }
        let values = visit.state.desk.lot_history().await?;
        let view = visit.view().await?;
        let term = &view.term;
        let used = reagents(term);
        let remark = |reagent: &str| match Formula::parse(reagent) {
            Ok(formula) if used.iter().any(|(known, _)| *known == formula.to_string()) => None,
            _ => Some("no experiment uses this reagent: is it written as in the procedure?"),
        };
        let rows = term.lots.values().map(|lot| {
            let (molarity, uncertainty) = as_stated(&lot.molarity);
            LotRow {
                code: lot.code.to_string(),
                remark: remark(&lot.reagent),
                reagent: printed(&lot.reagent),
                molarity,
                uncertainty,
                version: lot.version,
            }
        });
        let mut rows: Vec<LotRow> = rows.collect();
        aligned(rows.iter_mut().map(|row| &mut row.molarity));
        aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
        let mut frame = visit.frame("Lots");
        frame.notice = notice(&visit.query, &[&LOT]);
        Ok(Page(LotsPage {
            frame,
            lots: rows,
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
        })
        .into_response())
    })
}
