//! An assistant settles what was flagged, and gives points by hand.

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::Desk;
use crate::changes::{Change, Decide, GivePoints, PointsByHand};
use crate::ids::{ExperimentKey, StudentId};
use crate::store::StoreError;
use crate::term::{Decision, Ruling, Slot, standing};

/// Why a decision was not made.
#[derive(Debug, thiserror::Error)]
pub enum ReviewError {
    /// Nothing was handed in there.
    #[error("found nothing handed in for this student and experiment")]
    NotFound,
    /// The submission changed since the page was opened.
    #[error(
        "the student has handed in another version since you opened this page; look at it before you decide"
    )]
    Stale,
    /// What was to be taken back is not the last decision any more.
    #[error(
        "somebody decided again since you opened this page; look at it before you take anything back"
    )]
    Decided,
    /// A decision that needs a reason has none.
    #[error("found no reason, expected a sentence that says why")]
    NoReason,
    /// A trial that is not there.
    #[error("found no trial {0} in this submission")]
    NoTrial(u32),
    /// A trial that is there already.
    #[error("found trial {0} in this submission already, expected another number")]
    TrialThere(String),
    /// An adjustment out of range.
    #[error("found {found} points, expected \u{2212}{most} to {most}")]
    Adjustment {
        found: Decimal,
        /// Most that can be added or taken off.
        most: Decimal,
    },
    /// Points by hand out of range.
    #[error("found {found} points, expected 0 to {most}")]
    Points {
        found: Decimal,
        /// Points of the part.
        most: Decimal,
    },
    /// Another version cannot be handed in once results are out.
    #[error("the results are released; withdraw them before a submission goes back to a student")]
    Released,
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes a decision on a submission. `seen_revisions` is how many the page showed.
pub async fn decide(
    desk: &Desk,
    slot: Slot,
    ruling: Ruling,
    reason: &str,
    seen_revisions: usize,
    (login, at): (&str, Timestamp),
) -> Result<(), ReviewError> {
    let reason = reason.trim().to_owned();
    let by = login.to_owned();
    desk.apply_if(login, at, |image| {
        let image = image.ok_or(StoreError::NoCourse)?;
        let (_, revisions) = image
            .term
            .handed_in_by(&slot)
            .ok_or(ReviewError::NotFound)?;
        if revisions.len() != seen_revisions {
            return Err(ReviewError::Stale);
        }
        if reason.is_empty() && !matches!(ruling, Ruling::Accept) {
            return Err(ReviewError::NoReason);
        }
        match &ruling {
            Ruling::LeaveOut { trial } | Ruling::PutBack { trial } => {
                let there = revisions
                    .last()
                    .is_some_and(|r| r.hand_in.numbered().any(|(n, _)| n == *trial));
                if !there {
                    return Err(ReviewError::NoTrial(*trial));
                }
            }
            Ruling::Adjust { points } => {
                let marking = image
                    .term
                    .experiment(&slot.experiment)
                    .map(|e| e.procedure.marking.possible());
                let most = marking.unwrap_or_default();
                if points.abs() > most {
                    return Err(ReviewError::Adjustment {
                        found: *points,
                        most,
                    });
                }
            }
            Ruling::Return if image.is_released_to(&slot) => {
                return Err(ReviewError::Released);
            }
            _ => {}
        }
        Ok(vec![Change::Decide(Decide {
            slot,
            body: Decision {
                revision: u32::try_from(seen_revisions).unwrap_or(u32::MAX),
                ruling,
                reason,
                by,
                at,
            },
        })])
    })
    .await?;
    Ok(())
}

/// Accepts submissions as they stand, each with how many versions were seen of it: all of them, or none where one has
/// changed since.
pub async fn accept_all(
    desk: &Desk,
    chosen: Vec<(Slot, usize)>,
    reason: &str,
    (login, at): (&str, Timestamp),
) -> Result<(), ReviewError> {
    desk.apply_if(login, at, |image| {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let accept = |(slot, seen): (Slot, usize)| {
            let (_, revisions) = term.handed_in_by(&slot).ok_or(ReviewError::NotFound)?;
            if revisions.len() != seen {
                return Err(ReviewError::Stale);
            }
            Ok(Change::Decide(Decide {
                slot,
                body: Decision {
                    revision: u32::try_from(seen).unwrap_or(u32::MAX),
                    ruling: Ruling::Accept,
                    reason: reason.to_owned(),
                    by: login.to_owned(),
                    at,
                },
            }))
        };
        chosen.into_iter().map(accept).collect()
    })
    .await?;
    Ok(())
}

/// Takes back the last decision that stands; it stays in the record. `seen` is how many decisions the page knew of, so
/// that nobody takes back what another has decided meanwhile.
pub async fn take_back(
    desk: &Desk,
    slot: Slot,
    seen: usize,
    (login, at): (&str, Timestamp),
) -> Result<(), ReviewError> {
    let by = login.to_owned();
    desk.apply_if(login, at, |image| {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let (_, revisions) = term.handed_in_by(&slot).ok_or(ReviewError::NotFound)?;
        let made = term.decisions.get(&slot).map_or(&[][..], Vec::as_slice);
        if made.len() != seen || standing(made).is_empty() {
            return Err(ReviewError::Decided);
        }
        let decision = Decision {
            revision: u32::try_from(revisions.len()).unwrap_or(u32::MAX),
            ruling: Ruling::TakeBack,
            reason: String::new(),
            by,
            at,
        };
        Ok(vec![Change::Decide(Decide {
            slot,
            body: decision,
        })])
    })
    .await?;
    Ok(())
}

/// Gives points by hand, replaces those given, or takes them back where there are none.
pub async fn give_points(
    desk: &Desk,
    slot: Slot,
    points: Option<Decimal>,
    who: (&str, Timestamp),
) -> Result<(), ReviewError> {
    let Slot {
        experiment,
        student,
    } = slot;
    let refused = give_points_to(desk, &experiment, &[(student, points)], who).await?;
    refused
        .into_iter()
        .next()
        .map_or(Ok(()), |(_, why)| Err(why))
}

/// Gives points by hand to students of an experiment, replaces those given, or takes them back where there are none. Points that cannot be given come back,
/// each with why; the others are on disk.
pub async fn give_points_to(
    desk: &Desk,
    experiment: &ExperimentKey,
    points: &[(StudentId, impl Into<Option<Decimal>> + Copy)],
    (login, at): (&str, Timestamp),
) -> Result<Vec<(StudentId, ReviewError)>, ReviewError> {
    let mut refused = Vec::new();
    desk.apply_if(login, at, |image| {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let found = term.experiment(experiment).ok_or(ReviewError::NotFound)?;
        let most = found.procedure.marking.by_hand.unwrap_or_default();
        let mut changes = Vec::new();
        for (student, points) in points {
            let points: Option<Decimal> = (*points).into();
            let (found, slot) = (points.unwrap_or_default(), Slot::new(experiment, student));
            if term.student(student).is_none() {
                refused.push((student.clone(), ReviewError::NotFound));
            } else if found < Decimal::ZERO || found > most {
                refused.push((student.clone(), ReviewError::Points { found, most }));
            } else if term.by_hand.get(&slot) != points.as_ref() {
                changes.push(Change::ByHand(GivePoints {
                    slot,
                    body: PointsByHand { points },
                }));
            }
        }
        Ok::<_, ReviewError>(changes)
    })
    .await?;
    Ok(refused)
}
