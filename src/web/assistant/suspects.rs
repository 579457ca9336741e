//! A bottle, or a lot, that the class does not find as it was assigned: said beside what was handed in with it, so that
//! nobody pays for the prep room's slip.

use super::Found;
use crate::desk::Image;
use crate::judge::{AuditGroup, AuditKind, FlagCode};
use crate::measure::{from_f64, plain, to_figures};
use crate::term::{ExperimentAudit, Slot};

/// What the audit says of the bottle and the lots behind a submission that is off or has another answer; a sentence each.
pub fn suspects(view: &Image, slot: &Slot, found: &Found) -> Vec<String> {
    let of_value = |code: FlagCode| {
        matches!(
            code,
            FlagCode::InconsistentTruth | FlagCode::LikelySlip | FlagCode::UnknownMismatch
        )
    };
    let flags = &found.judged.evaluation.flags;
    if !flags.iter().any(|flag| of_value(flag.code)) {
        return Vec::new();
    }
    let judged = view.judged.iter();
    let audits = view
        .term
        .audit(judged.filter(|(one, _)| one.experiment == slot.experiment));
    let of_it = |audit: &&ExperimentAudit| audit.experiment == slot.experiment;
    let Some(audit) = audits.iter().find(of_it) else {
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
