//! A bottle, or a lot, that the class does not find as it was assigned: said beside what was handed in with it, so that
//! nobody pays for the prep room's slip.

use super::Found;
use crate::desk::Image;
use crate::judge::{AuditGroup, AuditKind, FlagCode};
use crate::measure::{from_f64, plain, to_figures};
use crate::term::Slot;

/// What the audit says of the bottle and the lots behind a submission that is off or has another answer; a sentence each.
pub fn suspects(view: &Image, slot: &Slot, found: &Found) -> Vec<String> {
    if !asks_the_audit(view, slot) {
        return Vec::new();
    }
    let experiment = view.term.experiment(&slot.experiment);
    let Some(audit) = experiment.and_then(|one| view.audit(one)) else {
        return Vec::new();
    };
    // mates of a bench group count once, for the one who handed in
    let place = audit
        .results
        .iter()
        .position(|result| result.slot == *found.handed_in_by);
    let Some(place) = place else {
        return Vec::new();
    };
    let holds = |group: &&AuditGroup| {
        let value = matches!(
            group.name.kind,
            AuditKind::Unknown | AuditKind::Lot | AuditKind::ExcessLot
        );
        value && group.members.contains(&place)
    };
    audit.named().filter(holds).map(words).collect()
}

/// Whether a submission has a flag that a value which is off may explain.
pub fn asks_the_audit(view: &Image, slot: &Slot) -> bool {
    let of_value = |code: FlagCode| {
        matches!(
            code,
            FlagCode::InconsistentTruth | FlagCode::LikelySlip | FlagCode::UnknownMismatch
        )
    };
    let flags = view
        .judged
        .get(slot)
        .map(|judged| judged.evaluation.flags.iter());
    flags.into_iter().flatten().any(|flag| of_value(flag.code))
}

fn words(group: &AuditGroup) -> String {
    let percent = from_f64(group.own.percent.abs(), 6).map(|p| plain(to_figures(p, 2)));
    let way = if group.own.percent > 0.0 {
        "more"
    } else {
        "less"
    };
    format!(
        "The {} students who worked with {} find {} % {way} on the mean than was assigned. Before anybody loses points \
         for it, the coordinator should look at the audit.",
        group.n(),
        group.name,
        percent.unwrap_or_default(),
    )
}
