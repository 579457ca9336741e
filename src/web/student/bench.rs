//! The bench form: enter, look it over, hand in.

use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::bench_page::{Told, form_page, look_page, shell_page};
use super::draft::{self, entry_of};
use super::entry::{Entry, doubts};
use super::sharing::{self, SharedPage};
use crate::course::Experiment;
use crate::desk::{self, DraftKept, HandInError, HandInRequest, Image};
use crate::ids::ExperimentKey;
use crate::language::message;
use crate::store::draft_of;
use crate::term::Slot;
use crate::web::{Fields, Page, PageError, PageResult, QueryFields, StudentVisitor};

/// `GET /student/experiments/{key}/bench`: empty, or filled with what was handed in. A code scanned from a bottle comes
/// as `unknown`. What the server kept of a form not handed in is in it, unless `anew` asks for an empty one. Where a bench mate has entered the readings it shows those, unless `own` asks for a form of one's own.
/// `shell` asks for the empty form that the browser keeps.
pub async fn form(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let owner = owner(&visitor).await?;
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor)?;
    let wants_shell = !query.text("shell").is_empty();
    if query.text("own").is_empty() && sharing::read_by_mate(&view, &slot) {
        if wants_shell {
            return Err(PageError::not_found());
        }
        let page = SharedPage::new(&view, experiment, &visitor, crate::web::random_key()?);
        return Ok(Page(page).into_response());
    }
    let held = view.term.submissions.get(&slot);
    let lots = |entry: &mut Entry| {
        let defaults = view.term.default_lots(experiment, &visitor.section);
        if entry.lot.is_empty() {
            entry.lot = defaults.titrant.as_deref().unwrap_or_default().to_owned();
        }
        if entry.excess_lot.is_empty() {
            entry.excess_lot = defaults.excess.as_deref().unwrap_or_default().to_owned();
        }
    };
    if wants_shell {
        let mut entry = Entry {
            seen: held.map_or(0, Vec::len),
            ..Entry::empty(&experiment.procedure, String::new())
        };
        lots(&mut entry);
        let page = shell_page(&view, experiment, &visitor, entry, owner);
        return Ok(Page(page).into_response());
    }
    let request_key = crate::web::random_key()?;
    let mut entry =
        match held.and_then(|revisions| revisions.last().map(|last| (revisions.len(), last))) {
            Some((seen, last)) => {
                Entry::of_hand_in(&experiment.procedure, &last.hand_in, seen, request_key)
            }
            None => Entry::empty(&experiment.procedure, request_key),
        };
    let anew = !query.text("anew").is_empty();
    let mut told = Told {
        fresh: true,
        anew,
        ..Told::default()
    };
    let kept = draft_of(&mut *visitor.state.store().read().await?, &slot).await?;
    if let Some(kept) = &kept {
        told.hand = kept.hand_at.is_some();
        told.kept = Some(kept.at.as_millisecond());
        let before = entry_of(&experiment.procedure, kept)?;
        // what was handed in since is newer, and whoever wants an empty form gets one
        if !anew && before.seen == entry.seen && !before.is_empty() {
            told.going_on = Some(visitor.at(&view.term.course.zone, kept.at));
            entry = Entry {
                key: entry.key,
                ..before
            };
        }
    }
    lots(&mut entry);
    let scanned = query.text("unknown");
    if !scanned.is_empty() {
        entry.unknown = scanned.chars().take(40).collect();
    }
    told.scanned = !scanned.is_empty();
    Ok(Page(form_page(&view, experiment, &visitor, entry, owner, told)).into_response())
}

/// `POST /student/experiments/{key}/bench`: keeps what is typed, checks, then shows what would be handed in; or adds a trial,
/// or carries a reading on to the next trial; or raises a hand; or goes back.
pub async fn look(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let owner = own_form(&visitor, &fields).await?;
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor)?;
    let mut entry = Entry::of_fields(&experiment.procedure, &fields);
    let kept = draft::keep(&visitor, &slot, &fields, &entry).await;
    let (taken, faults) = entry.take_up_curves(&experiment.procedure);
    let unread = !faults.is_empty();
    let mut told = Told {
        taken,
        faults,
        kept: fields.text("kept").parse().ok(),
        ..Told::default()
    };
    match kept {
        Ok(Some(DraftKept::Kept(draft))) => {
            told.hand = draft.hand_at.is_some();
            told.kept = Some(draft.at.as_millisecond());
        }
        Ok(Some(DraftKept::Elsewhere)) => told.elsewhere = true,
        Ok(None) => {}
        // the form goes on without
        Err(why) => tracing::warn!(error = ?why, "a draft is not kept"),
    }
    match fields.text("action").split_once(':') {
        None if fields.text("action") == "add" => entry.add_trial(),
        None if matches!(
            fields.text("action"),
            "change" | "keep" | "hand-up" | "hand-down"
        ) => {}
        None if fields.text("action") == "curve" || unread => {}
        Some(("carry", trial)) => {
            told.faults
                .extend(entry.carry(&experiment.procedure, trial).err());
        }
        _ => {
            return Ok(checked(&view, experiment, &visitor, entry, owner, false));
        }
    }
    Ok(Page(form_page(&view, experiment, &visitor, entry, owner, told)).into_response())
}

pub async fn hand_in(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let owner = own_form(&visitor, &fields).await?;
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor)?;
    let procedure = &experiment.procedure;
    let entry = Entry::of_fields(procedure, &fields);
    if !(16..=64).contains(&entry.key.len()) {
        return Err(PageError::bad_request(message!("bench.no-key")));
    }
    let Ok(mut hand_in) = entry.read(procedure, |code| view.term.lots.contains_key(code)) else {
        return Ok(checked(&view, experiment, &visitor, entry, owner, false));
    };
    let asked = doubts(procedure, &hand_in, issued(&view, &slot), |code| {
        is_bottle(&view, &key, code)
    });
    if asked
        .iter()
        .any(|doubt| !entry.confirmed.contains(&doubt.id))
    {
        return Ok(checked(&view, experiment, &visitor, entry, owner, true));
    }
    hand_in.confirmed = asked.into_iter().map(|doubt| doubt.id).collect();
    let (seen_revisions, reason) = (entry.seen, entry.reason.clone());
    drop(view);
    let request = HandInRequest {
        slot: slot.clone(),
        hand_in: hand_in.into(),
        key: entry.key.to_string(),
        seen_revisions,
        reason,
        at: visitor.now(),
    };
    match desk::hand_in(&visitor.state.desk, request).await {
        Ok(receipt) => {
            Ok(Redirect::to(&format!("/student/receipts/{}", receipt.number)).into_response())
        }
        Err(HandInError::Store(why)) => Err(why.into()),
        Err(why) => refused(&visitor, &slot, entry, owner, why).await,
    }
}

/// The form again with everything typed and why it was not taken. Where another version was quicker, that one is shown
/// beside it, and the form may then be handed in over it.
async fn refused(
    visitor: &StudentVisitor,
    slot: &Slot,
    mut entry: Entry,
    owner: String,
    why: HandInError,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let (experiment, _) = find(&view, &slot.experiment, visitor)?;
    let mut told = Told {
        message: Some(why.words()),
        ..Told::default()
    };
    let status = match why {
        HandInError::Stale { .. } | HandInError::KeyReused => {
            entry.seen = view.term.submissions.get(slot).map_or(0, Vec::len);
            entry.key = crate::web::random_key()?;
            told.overtaken = true;
            match why {
                HandInError::KeyReused => StatusCode::UNPROCESSABLE_ENTITY,
                _ => StatusCode::CONFLICT,
            }
        }
        HandInError::TooOften { .. } => StatusCode::TOO_MANY_REQUESTS,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let page = form_page(&view, experiment, visitor, entry, owner, told);
    let mut response = Page(page).with_status(status);
    if let HandInError::TooOften { wait } = why {
        let wait = HeaderValue::from(wait);
        response.headers_mut().insert(header::RETRY_AFTER, wait);
    }
    Ok(response)
}

/// The look-over page, or the form again with what is wrong with it.
fn checked(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    entry: Entry,
    owner: String,
    unanswered: bool,
) -> Response {
    let procedure = &experiment.procedure;
    match entry.read(procedure, |code| view.term.lots.contains_key(code)) {
        Err(faults) => {
            let told = Told {
                faults,
                ..Told::default()
            };
            let page = form_page(view, experiment, visitor, entry, owner, told);
            Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY)
        }
        Ok(hand_in) => {
            let status = if unanswered {
                StatusCode::UNPROCESSABLE_ENTITY
            } else {
                StatusCode::OK
            };
            let now = visitor.now();
            let slot = Slot::new(&experiment.key, &visitor.id);
            let doubts = doubts(procedure, &hand_in, issued(view, &slot), |code| {
                is_bottle(view, &experiment.key, code)
            });
            let mut page = look_page(view, experiment, visitor, (entry, hand_in), owner, now);
            (page.doubts, page.unanswered) = (doubts, unanswered);
            Page(page).with_status(status)
        }
    }
}

/// The experiment and the student's place in it, if it has opened.
pub fn find<'a>(
    view: &'a Image,
    key: &ExperimentKey,
    visitor: &StudentVisitor,
) -> PageResult<(&'a Experiment, Slot)> {
    let experiment = view.term.experiment(key).ok_or_else(PageError::not_found)?;
    let own_dates = view.term.dates_for(experiment, &visitor.id);
    let opens = view.term.course.zone.instant(own_dates.opens);
    if opens.is_some_and(|opens| visitor.now() < opens) {
        let opens = message!("bench.opens", date = own_dates.opens);
        return Err(PageError::forbidden(opens));
    }
    let slot = Slot::new(key, &visitor.id);
    if view.is_released_to(&slot) {
        return Err(PageError::forbidden(message!("bench.released")));
    }
    Ok((experiment, slot))
}

/// The name under which this student's drafts are kept in browsers.
pub async fn owner(visitor: &StudentVisitor) -> PageResult<String> {
    let mut reader = visitor.state.people.store().read().await?;
    let owner = reader
        .accounts()
        .draft_owner(&visitor.session.account)
        .await?;
    // experiments of several courses may have the same key
    let course = visitor.state.place.course();
    Ok(course.map_or(owner.clone(), |course| format!("{owner}.{course}")))
}

/// The same, for a form that was sent: one that somebody else has filled in is not taken.
pub async fn own_form(visitor: &StudentVisitor, fields: &Fields) -> PageResult<String> {
    let owner = owner(visitor).await?;
    match fields.text("owner") {
        "" => Ok(owner),
        same if same == owner => Ok(owner),
        _ => Err(PageError::forbidden(message!("bench.not-yours"))),
    }
}

/// The bottle given to a student, if there is one.
pub fn issued<'v>(view: &'v Image, slot: &Slot) -> Option<&'v str> {
    view.term.issued.get(slot).map(|code| code.as_str())
}

pub fn is_bottle(view: &Image, key: &ExperimentKey, code: &str) -> bool {
    let bottles = view.term.unknowns.get(key);
    bottles.is_some_and(|bottles| {
        bottles
            .keys()
            .any(|bottle| bottle.eq_ignore_ascii_case(code))
    })
}
