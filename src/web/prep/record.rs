//! Recording a lot, an unknown, or a batch of unknowns: a form, what it comes to, and its entry.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::entry::{Faults, Group};
use super::filled::filled;
use super::pages::Shown;
use super::sheet::{How, Sheet, What, unit_of};
use super::{batch, pages};
use crate::change::Change;
use crate::desk::{self, Image, PrepareError, Records, Values};
use crate::ids::ExperimentKey;
use crate::term::Term;
use crate::truth::{Assigned, Bottle};
use crate::web::coordinator::titres;
use crate::web::coordinator::words::aligned;
use crate::web::{AppState, Fields, Frame, Page, PageError, PageResult, PrepVisitor, QueryFields};

#[derive(Template)]
#[template(path = "prep/record.html")]
struct FormPage {
    frame: Frame,
    place: Place,
    groups: Vec<Group>,
    faults: Vec<(String, String, String)>,
    how: &'static str,
    /// Other ways, with their addresses.
    ways: Vec<(String, &'static str, bool)>,
    rows: usize,
    more: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "prep/look.html")]
struct LookPage {
    frame: Frame,
    place: Place,
    rows: Vec<Row>,
    unit: &'static str,
    titres: Option<(String, String)>,
    altered: usize,
    released: Vec<String>,
    replaces: bool,
    reason: String,
    reason_fault: Option<String>,
    hidden: Vec<(String, String)>,
    shown: Option<Shown>,
    /// Whether nothing at all would change.
    nothing: bool,
}

/// Where a record is entered, and where its page leads back to.
#[derive(Clone)]
struct Place {
    action: String,
    back: String,
    back_words: String,
}

/// One value that would be entered.
struct Row {
    code: String,
    value: String,
    uncertainty: String,
    before: Option<String>,
    titre: Option<String>,
    warning: Option<String>,
}

/// `GET /prep/lots/record`; `?code=` fills it in, `?how=` says how the value comes about.
pub async fn lot(
    State(state): State<AppState>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    blank(&state, &visitor, What::Lot, query).await
}

/// `POST /prep/lots/record`: adds a row, looks, or enters.
pub async fn post_lot(
    State(state): State<AppState>,
    visitor: PrepVisitor,
    fields: Fields,
) -> PageResult<Response> {
    posted(&state, &visitor, What::Lot, fields).await
}

pub async fn unknown(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    blank(&state, &visitor, What::Unknown(key), query).await
}

pub async fn post_unknown(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    fields: Fields,
) -> PageResult<Response> {
    posted(&state, &visitor, What::Unknown(key), fields).await
}

pub async fn batch(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    blank(&state, &visitor, What::Batch(key), query).await
}

pub async fn post_batch(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    fields: Fields,
) -> PageResult<Response> {
    posted(&state, &visitor, What::Batch(key), fields).await
}

async fn blank(
    state: &AppState,
    visitor: &PrepVisitor,
    what: What,
    query: QueryFields,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    place(&what, &view.term)?;
    let code = query.0.text("code");
    let held = filled(&what, code, &view.term).filter(|held| {
        let how = query.0.text("how");
        how.is_empty() || how == held.text("how")
    });
    let typed = held.unwrap_or(query.0);
    let sheet = Sheet::new(what, &typed, &view.term);
    Ok(Page(form(&sheet, visitor, &Vec::new())?).into_response())
}

async fn posted(
    state: &AppState,
    visitor: &PrepVisitor,
    what: What,
    fields: Fields,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    place(&what, &view.term)?;
    let sheet = Sheet::new(what.clone(), &fields, &view.term);
    match fields.text("do") {
        "row" | "edit" | "procedure" => {
            return Ok(Page(form(&sheet, visitor, &Vec::new())?).into_response());
        }
        _ => {}
    }
    let read = match read(&sheet) {
        Ok(read) => read,
        Err(faults) => {
            let page = form(&sheet, visitor, &faults)?;
            return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    if fields.text("do") != "enter" {
        let page = look(&view, &sheet, visitor, read, None)?;
        return Ok(Page(page).into_response());
    }
    let (record, how) = (sheet.record(), sheet.how);
    let (reason, seen) = (fields.text("reason"), fields.text("seen"));
    let who = (visitor.login.as_str(), state.clock.now());
    let stated = (how == How::Stated).then(|| values(&sheet)).transpose();
    drop(view);
    let entered = match stated {
        Ok(Some(values)) => {
            desk::enter_stated(&state.desk, &values, days(&fields), reason, seen, who).await
        }
        Ok(None) => desk::enter_records(&state.desk, &record, reason, seen, who).await,
        Err(why) => Err(why),
    };
    match entered {
        Ok(n) => Err(PageError::see_other(done(&what, fields.text("code"), n))),
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(why) => {
            let view = state.desk.view().await?;
            let sheet = Sheet::new(what, &fields, &view.term);
            let again = self::read(&sheet);
            let page = match again {
                Ok(read) => look(&view, &sheet, visitor, read, Some(why.to_string()))?,
                Err(faults) => {
                    let page = form(&sheet, visitor, &faults)?;
                    return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
                }
            };
            Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

fn done(what: &What, code: &str, n: usize) -> String {
    let code: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
    match what {
        What::Lot => format!("/prep/lot?code={code}&done=lot"),
        What::Unknown(key) => format!("/prep/experiments/{key}/unknown?code={code}&done=unknown"),
        What::Batch(key) => format!("/prep/experiments/{key}?done=unknowns&n={n}"),
    }
}

fn place(what: &What, term: &Term) -> PageResult<Place> {
    let titled = |key: &ExperimentKey| -> PageResult<String> {
        let experiment = term.experiment(key).ok_or_else(PageError::not_found)?;
        Ok(experiment.procedure.title.clone())
    };
    Ok(match what {
        What::Lot => Place {
            action: "/prep/lots/record".into(),
            back: "/prep/lots".into(),
            back_words: "Lots".into(),
        },
        What::Unknown(key) => Place {
            action: format!("/prep/experiments/{key}/record"),
            back: format!("/prep/experiments/{key}"),
            back_words: titled(key)?,
        },
        What::Batch(key) => Place {
            action: format!("/prep/experiments/{key}/batch"),
            back: format!("/prep/experiments/{key}"),
            back_words: titled(key)?,
        },
    })
}

fn form(sheet: &Sheet, visitor: &PrepVisitor, faults: &Faults) -> PageResult<FormPage> {
    let place = place(&sheet.what, sheet.term)?;
    let groups = sheet.groups(faults);
    let named = |name: &String| {
        let mut entries = groups.iter().flat_map(|g| &g.entries);
        let entry = entries.find(|e| e.name == *name);
        entry.map_or_else(|| "Record".to_owned(), |e| e.label.clone())
    };
    let faults = faults
        .iter()
        .map(|(field, what)| (field.clone(), named(field), what.clone()))
        .collect();
    let code: String =
        form_urlencoded::byte_serialize(sheet.typed.text("code").as_bytes()).collect();
    let ways = How::of(&sheet.what, sheet.term).into_iter().map(|how| {
        let at = format!("{}?how={}&code={code}", place.action, how.name());
        (at, how.words(), how == sheet.how)
    });
    let title = match &sheet.what {
        What::Lot => "Record a lot",
        What::Unknown(_) => "Record an unknown",
        What::Batch(_) => "Record a batch of unknowns",
    };
    Ok(FormPage {
        frame: visitor.frame(title),
        ways: ways.collect(),
        how: sheet.how.name(),
        rows: sheet.rows(),
        more: sheet.more(),
        faults,
        groups,
        place,
    })
}

/// What a form comes to.
struct Read {
    changes: Vec<Change>,
    recorded: BTreeMap<Bottle, crate::workup::Recorded>,
    seen: String,
    replaces: bool,
}

fn values(sheet: &Sheet) -> Result<Values, PrepareError> {
    let number = |name: &str| sheet.typed.text(name).replace(',', ".");
    let (value, u) = (number("value"), number("uncertainty"));
    let code = sheet.typed.text("code");
    match &sheet.what {
        What::Lot => Values::lot([code, sheet.typed.text("reagent"), &value, &u]),
        What::Unknown(key) | What::Batch(key) => Values::unknown(key, [code, &value, &u]),
    }
}

/// The days typed; only what [`read`] has found sound is asked for.
fn days(fields: &Fields) -> crate::truth::ShelfLife {
    let day = |name: &str| crate::text::day(fields.text(name)).ok();
    crate::truth::ShelfLife {
        made: day("made"),
        expires: day("expires"),
    }
}

fn read(sheet: &Sheet) -> Result<Read, Faults> {
    let mut faults = pages::day_faults(sheet.typed);
    if sheet.how == How::Stated {
        let named = |(field, what): (&'static str, String)| {
            let field = match field {
                "lot" | "unknown" => "code",
                "molarity" | "true_value" => "value",
                other => other,
            };
            (field.to_owned(), what)
        };
        let read = values(sheet).and_then(|values| {
            let changes = values.changes(sheet.term, "")?;
            Ok((changes, values.seen(sheet.term)))
        });
        return match read {
            Ok((changes, seen)) if faults.is_empty() => Ok(Read {
                replaces: !changes.is_empty() && seen != "0",
                changes,
                recorded: BTreeMap::new(),
                seen,
            }),
            Ok(_) => Err(faults),
            Err(PrepareError::Fields(more)) => {
                faults.extend(more.into_iter().map(named));
                Err(faults)
            }
            Err(PrepareError::Store(why)) => Err(vec![(String::new(), why.to_string())]),
        };
    }
    if matches!(sheet.what, What::Batch(_)) {
        let wrong = batch::miscounted(sheet);
        faults.extend(wrong.into_iter().map(|what| ("many".to_owned(), what)));
        if !faults.is_empty() {
            return Err(faults);
        }
    }
    let record = sheet.record();
    let read = Records::read(&record, sheet.term, "");
    match read {
        Ok(read) if faults.is_empty() => Ok(Read {
            changes: read.changes,
            recorded: read.recorded,
            seen: read.seen,
            replaces: read.replaces,
        }),
        Ok(_) => Err(faults),
        Err(more) => {
            for fault in &more {
                let field = record.field_of(fault);
                let (field, what) = match batch::of_line(field, fault) {
                    Some(what) => ("many", what),
                    None => (field, fault.what.clone()),
                };
                // the fields of a stock stand in every record of a batch
                let named = (field.to_owned(), what);
                if !faults.contains(&named) {
                    faults.push(named);
                }
            }
            Err(faults)
        }
    }
}

fn look(
    image: &Image,
    sheet: &Sheet,
    visitor: &PrepVisitor,
    read: Read,
    refused: Option<String>,
) -> PageResult<LookPage> {
    let preview = image.preview(&read.changes);
    let key = match &sheet.what {
        What::Lot => None,
        What::Unknown(key) | What::Batch(key) => Some(key),
    };
    let experiment = key.and_then(|key| preview.term.experiment(key));
    let expected = experiment.map(|e| {
        (
            titres::expected(&preview.term, e),
            titres::head(&e.procedure),
        )
    });
    let titre = |code: &str| {
        let (titres, _) = &expected.as_ref()?.0;
        titres.iter().find(|titre| titre.code == code)
    };
    let rows = read.changes.iter().filter_map(|change| {
        let (code, after, before) = value(change, &image.term)?;
        let titre = titre(&code);
        let (value, uncertainty) = pages::both(&after);
        Some(Row {
            value,
            uncertainty,
            before: before.map(|old| pages::in_words(&old)),
            titre: titre.and_then(|t| t.volume.clone()),
            warning: titre.and_then(|t| t.warning.clone()),
            code,
        })
    });
    let mut rows: Vec<Row> = rows.collect();
    aligned(rows.iter_mut().map(|row| &mut row.value));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    let released = image.term.experiments.iter().filter(|e| {
        let concerned = |a: &crate::term::Altered| a.slot.experiment == e.key;
        image.is_released(&e.key) && preview.altered.iter().any(concerned)
    });
    let mut hidden: Vec<(String, String)> = Vec::new();
    for (name, text) in sheet.typed.clone().into_pairs() {
        if !["do", "seen", "reason", "how", "rows"].contains(&name.as_str()) {
            hidden.push((name, text));
        }
    }
    hidden.push(("how".into(), sheet.how.name().into()));
    hidden.push(("rows".into(), sheet.rows().to_string()));
    hidden.push(("seen".into(), read.seen.clone()));
    let single = (read.recorded.len() == 1)
        .then(|| read.recorded.values().next())
        .flatten();
    Ok(LookPage {
        frame: visitor.frame("What it comes to"),
        place: place(&sheet.what, sheet.term)?,
        unit: key.map_or("mol/L", |key| unit_of(sheet.term, key)),
        titres: expected.map(|((_, with), head)| (head, with)),
        altered: preview.altered.len(),
        released: released.map(|e| e.procedure.title.clone()).collect(),
        replaces: read.replaces,
        reason: sheet.typed.text("reason").to_owned(),
        reason_fault: refused,
        hidden,
        shown: single.and_then(Shown::of),
        nothing: read.changes.is_empty(),
        rows,
    })
}

fn value(change: &Change, term: &Term) -> Option<(String, Assigned, Option<Assigned>)> {
    match change {
        Change::Lot { lot, .. } => {
            let old = term.lots.get(&lot.code).map(|old| old.molarity);
            Some((lot.code.to_string(), lot.molarity, old))
        }
        Change::Unknown {
            experiment,
            unknown,
            ..
        } => {
            let held = term.unknowns.get(experiment);
            let old = held.and_then(|held| held.get(&unknown.code));
            let old = old.map(|old| *old.truth.open());
            Some((unknown.code.to_string(), *unknown.truth.open(), old))
        }
        _ => None,
    }
}
