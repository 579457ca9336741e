//! The bench form: enter, look it over, hand in.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::entry::{
    Doubt, Entry, FILLINGS, FieldFault, doubts, field_name, instrument_label, title,
};
use super::instruments::{expressed_as, instrument_words, standard_words};
use super::record::{ReadingsTable, VolumeSpread, readings_table, volume_spread};
use crate::chem::Formula;
use crate::columns::Column;
use crate::course::Experiment;
use crate::desk::{self, HandInError, HandInRequest, Image};
use crate::procedure::Procedure;
use crate::submission::{HandIn, TrialLabel};
use crate::term::Slot;
use crate::web::{AppState, Fields, Frame, Page, PageError, PageResult, StudentVisitor, dates};

#[derive(Template)]
#[template(path = "student/bench.html")]
struct BenchForm {
    frame: Frame,
    heading: Heading,
    entry: Entry,
    rows: Vec<FormRow>,
    lot_label: &'static str,
    lots: Vec<String>,
    excess_lots: Vec<String>,
    needs_lot: bool,
    needs_excess_lot: bool,
    faults: Vec<FieldFault>,
    message: Option<String>,
}

#[derive(Template)]
#[template(path = "student/look.html")]
struct Look {
    frame: Frame,
    heading: Heading,
    entry: Entry,
    hidden: Vec<(String, String)>,
    readings: ReadingsTable,
    spread: Option<VolumeSpread>,
    doubts: Vec<Doubt>,
    few: Option<String>,
    unanswered: bool,
    late: bool,
}

/// What stands above the form.
struct Heading {
    key: String,
    title: String,
    due: String,
    unit: &'static str,
    expressed_as: String,
    instruments: String,
    bottle: Option<String>,
    instrument_label: &'static str,
    cautions: Vec<String>,
}

/// One titration of the form.
struct FormRow {
    title: String,
    hint: String,
    optional: bool,
    open: bool,
    trial: String,
    cells: Vec<FormCell>,
    refills: Vec<FormCell>,
    refilled: bool,
}

/// One field of the form.
struct FormCell {
    name: String,
    label: String,
    value: String,
    fault: Option<String>,
    hint: String,
}

/// `GET /student/experiments/{key}/bench`
pub async fn form(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: StudentVisitor,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor, &state)?;
    let held = view.term.submissions.get(&slot);
    let request_key = crate::web::random_key()?;
    let mut entry =
        match held.and_then(|revisions| revisions.last().map(|last| (revisions.len(), last))) {
            Some((seen, last)) => {
                Entry::of_hand_in(&experiment.procedure, &last.hand_in, seen, request_key)
            }
            None => Entry::empty(&experiment.procedure, request_key),
        };
    let defaults = view.term.default_lots(experiment, &visitor.section);
    if entry.lot.is_empty() {
        entry.lot = defaults.titrant.unwrap_or_default();
    }
    if entry.excess_lot.is_empty() {
        entry.excess_lot = defaults.excess.unwrap_or_default();
    }
    Ok(Page(form_page(
        &view,
        experiment,
        &visitor,
        entry,
        Vec::new(),
        None,
    ))
    .into_response())
}

/// `POST /student/experiments/{key}/bench`: checks, then shows what would be handed in; or adds a trial; or goes back.
pub async fn look(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let (experiment, _) = find(&view, &key, &visitor, &state)?;
    let mut entry = Entry::of_fields(&experiment.procedure, &fields);
    match fields.text("action") {
        "add" => {
            entry.add_trial();
            Ok(Page(form_page(
                &view,
                experiment,
                &visitor,
                entry,
                Vec::new(),
                None,
            ))
            .into_response())
        }
        "change" => Ok(Page(form_page(
            &view,
            experiment,
            &visitor,
            entry,
            Vec::new(),
            None,
        ))
        .into_response()),
        _ => Ok(checked(&view, experiment, &visitor, entry, &state, false)),
    }
}

/// `POST /student/experiments/{key}/hand-in`
pub async fn hand_in(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor, &state)?;
    let procedure = &experiment.procedure;
    let entry = Entry::of_fields(procedure, &fields);
    if !(16..=64).contains(&entry.key.len()) {
        return Err(PageError::bad_request(
            "This form has lost its key. Open the experiment again and copy your readings over.",
        ));
    }
    let Ok(mut hand_in) = entry.read(procedure, |code| view.term.lots.contains_key(code)) else {
        return Ok(checked(&view, experiment, &visitor, entry, &state, false));
    };
    let asked = doubts(procedure, &hand_in, |code| is_bottle(&view, &key, code));
    if asked
        .iter()
        .any(|doubt| !entry.confirmed.contains(&doubt.id))
    {
        return Ok(checked(&view, experiment, &visitor, entry, &state, true));
    }
    hand_in.confirmed = asked.into_iter().map(|doubt| doubt.id).collect();
    let (seen_revisions, reason) = (entry.seen, entry.reason.clone());
    drop(view);
    let request = HandInRequest {
        slot,
        hand_in,
        key: entry.key.clone(),
        seen_revisions,
        reason,
        at: state.clock.now(),
    };
    match desk::hand_in(&state.desk, request).await {
        Ok(receipt) => {
            Ok(Redirect::to(&format!("/student/receipts/{}", receipt.number)).into_response())
        }
        Err(HandInError::Store(why)) => Err(why.into()),
        Err(HandInError::KeyReused) => {
            Err(PageError::unprocessable(HandInError::KeyReused.to_string()))
        }
        Err(why) => {
            let status = match why {
                HandInError::Stale { .. } => StatusCode::CONFLICT,
                _ => StatusCode::UNPROCESSABLE_ENTITY,
            };
            let view = state.desk.view().await?;
            let (experiment, _) = find(&view, &key, &visitor, &state)?;
            let page = form_page(
                &view,
                experiment,
                &visitor,
                entry,
                Vec::new(),
                Some(why.to_string()),
            );
            Ok(Page(page).with_status(status))
        }
    }
}

/// The experiment and the student's place in it, if it has opened.
fn find<'a>(
    view: &'a Image,
    key: &str,
    visitor: &StudentVisitor,
    state: &AppState,
) -> PageResult<(&'a Experiment, Slot)> {
    let experiment = view.term.experiment(key).ok_or_else(PageError::not_found)?;
    let own_dates = view.term.dates_for(experiment, &visitor.id);
    let opens = view.term.course.zone.instant(own_dates.opens);
    if opens.is_some_and(|opens| state.clock.now() < opens) {
        let opens = dates::local(own_dates.opens);
        return Err(PageError::forbidden(format!(
            "This experiment opens on {opens}. Until then nothing can be entered."
        )));
    }
    let slot = Slot::new(key, &visitor.id);
    if view.is_released_to(&slot) {
        return Err(PageError::forbidden(
            "The results of this experiment are out, so nothing more can be handed in. Speak to your assistant about a correction.",
        ));
    }
    Ok((experiment, slot))
}

fn is_bottle(view: &Image, key: &str, code: &str) -> bool {
    let bottles = view.term.unknowns.get(key);
    bottles.is_some_and(|bottles| {
        bottles
            .keys()
            .any(|bottle| bottle.eq_ignore_ascii_case(code))
    })
}

/// The look-over page, or the form again with what is wrong with it.
fn checked(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    entry: Entry,
    state: &AppState,
    unanswered: bool,
) -> Response {
    let procedure = &experiment.procedure;
    match entry.read(procedure, |code| view.term.lots.contains_key(code)) {
        Err(faults) => {
            let page = form_page(view, experiment, visitor, entry, faults, None);
            Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY)
        }
        Ok(hand_in) => {
            let status = if unanswered {
                StatusCode::UNPROCESSABLE_ENTITY
            } else {
                StatusCode::OK
            };
            let due = view.term.dates_for(experiment, &visitor.id).due;
            let due = view.term.course.zone.instant(due);
            let page = Look {
                frame: visitor.frame("Look it over"),
                heading: heading(view, experiment, visitor),
                hidden: hidden(&entry),
                readings: readings_table(procedure, &hand_in),
                spread: volume_spread(procedure, &hand_in),
                doubts: doubts(procedure, &hand_in, |code| {
                    is_bottle(view, &experiment.key, code)
                }),
                few: few(procedure, &hand_in),
                unanswered,
                late: due.is_some_and(|due| state.clock.now() > due),
                entry,
            };
            Page(page).with_status(status)
        }
    }
}

/// A word on trials or a blank still missing.
fn few(procedure: &Procedure, hand_in: &HandIn) -> Option<String> {
    let (count, minimum) = (hand_in.numbered().count(), procedure.trials.minimum);
    let blank = hand_in
        .titrations
        .iter()
        .any(|t| t.trial == TrialLabel::Blank);
    let mut words = Vec::new();
    if count < minimum as usize {
        words.push(format!(
            "you have entered {count} of the {minimum} trials asked for"
        ));
    }
    if procedure.trials.blank && !blank {
        words.push("you have not entered the blank".to_owned());
    }
    (!words.is_empty()).then(|| words.join(", and "))
}

/// Every field of the form but the session's token and the answers to questions.
fn hidden(entry: &Entry) -> Vec<(String, String)> {
    let named = [
        ("key", entry.key.clone()),
        ("seen", entry.seen.to_string()),
        ("trials", entry.trials().to_string()),
        ("lot", entry.lot.clone()),
        ("excess_lot", entry.excess_lot.clone()),
        ("unknown", entry.unknown.clone()),
        ("instrument", entry.instrument.clone()),
        ("reported", entry.reported.clone()),
        ("reason", entry.reason.clone()),
    ];
    let mut fields: Vec<(String, String)> = named
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect();
    for row in &entry.rows {
        fields.extend(
            row.cells
                .iter()
                .map(|(column, text)| (field_name(row.trial, *column), text.clone())),
        );
    }
    fields
}

fn form_page(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    entry: Entry,
    faults: Vec<FieldFault>,
    message: Option<String>,
) -> BenchForm {
    let procedure = &experiment.procedure;
    let lots_of = |species: &Formula| -> Vec<String> {
        let same = view.term.lots_of(species);
        // reagents that are named in words cannot be told apart: then every lot is offered
        if same.is_empty() {
            view.term.lots.keys().cloned().collect()
        } else {
            same.into_iter().map(|lot| lot.code.clone()).collect()
        }
    };
    BenchForm {
        frame: visitor.frame(&experiment.procedure.title),
        heading: heading(view, experiment, visitor),
        rows: form_rows(procedure, &entry, &faults),
        lot_label: if procedure.calibration.is_some() {
            "Lot on the stock bottle"
        } else {
            "Lot on the titrant bottle"
        },
        lots: procedure
            .lot_reagent()
            .map(|(species, _)| lots_of(species))
            .unwrap_or_default(),
        excess_lots: procedure
            .excess
            .as_ref()
            .map(|e| lots_of(&e.species))
            .unwrap_or_default(),
        needs_lot: procedure.uses_titrant_lot(),
        needs_excess_lot: procedure.uses_excess_lot(),
        entry,
        faults,
        message,
    }
}

impl BenchForm {
    fn fault_of(&self, field: &str) -> Option<&str> {
        self.faults
            .iter()
            .find(|fault| fault.field == field)
            .map(|fault| fault.what.as_str())
    }
}

fn heading(view: &Image, experiment: &Experiment, visitor: &StudentVisitor) -> Heading {
    let procedure = &experiment.procedure;
    let slot = Slot::new(&experiment.key, &visitor.id);
    Heading {
        key: experiment.key.clone(),
        title: procedure.title.clone(),
        due: dates::local(view.term.dates_for(experiment, &visitor.id).due),
        unit: procedure.result.unit.name(),
        expressed_as: expressed_as(procedure),
        instruments: instrument_words(procedure),
        bottle: view.term.issued.get(&slot).cloned(),
        instrument_label: instrument_label(procedure),
        cautions: procedure.text.cautions.clone(),
    }
}

fn form_rows(procedure: &Procedure, entry: &Entry, faults: &[FieldFault]) -> Vec<FormRow> {
    let row = |row: &super::entry::EntryRow| {
        let trial = row.trial;
        let cell = |column: &Column| {
            let name = field_name(trial, *column);
            let decimals = column.glassware(procedure).decimals().unwrap_or(0);
            let fault = faults
                .iter()
                .find(|f| f.field == name)
                .map(|f| f.what.clone());
            let hint = match decimals {
                1 => "1 decimal".to_owned(),
                many => format!("{many} decimals"),
            };
            FormCell {
                label: column.label(),
                value: row.cells.get(column).cloned().unwrap_or_default(),
                fault,
                hint,
                name,
            }
        };
        let own = Column::of_row(procedure, trial, FILLINGS);
        let (more, first): (Vec<Column>, Vec<Column>) =
            own.into_iter().partition(|c| c.is_of_refill());
        let cells: Vec<FormCell> = first.iter().map(cell).collect();
        let refills: Vec<FormCell> = more.iter().map(cell).collect();
        FormRow {
            title: title(trial),
            hint: match trial {
                TrialLabel::Rough => "optional: kept and shown, not used in your result".to_owned(),
                TrialLabel::Blank => "the same without sample".to_owned(),
                TrialLabel::Numbered(_) => String::new(),
                TrialLabel::Standard(n) => standard_words(procedure, n),
            },
            optional: trial == TrialLabel::Rough,
            open: !row.is_blank(),
            refilled: refills
                .iter()
                .any(|cell| !cell.value.is_empty() || cell.fault.is_some()),
            trial: trial.to_string(),
            cells,
            refills,
        }
    };
    entry.rows.iter().map(row).collect()
}
