//! The audit in words.

use std::collections::BTreeMap;

use crate::judge::{AuditGroup, AuditKind, GroupName, Ruled, Verdict};
use crate::measure::{from_f64, plain, to_decimals};
use crate::procedure::Procedure;
use crate::term::ExperimentAudit;
use crate::words::{counted, sentence};

/// Of groups of so few results it is said what they can show.
const FEW: usize = 8;

/// The name of a group at the head of a sentence.
pub fn capital(name: &GroupName) -> String {
    sentence(&name.to_string())
}

/// What a group that looks off was assigned and what its students find, in a sentence.
pub fn found(audit: &ExperimentAudit, group: &AuditGroup, procedure: &Procedure) -> String {
    let assigned = audit.assigned.get(&group.name).map(|held| {
        let value = plain(held.value.value);
        format!("assigned {value} {}, ", unit(group.name.kind, procedure))
    });
    format!(
        "{assigned}{results} with a bias of {bias} %: {verdict}",
        assigned = assigned.unwrap_or_default(),
        results = counted(group.n(), "result", "results"),
        bias = with_uncertainty(group.own.percent, group.own.joined_percent),
        verdict = group.verdict.words(),
    )
}

/// The unit of a value assigned to groups of that kind.
pub fn unit(kind: AuditKind, procedure: &Procedure) -> &'static str {
    match kind {
        AuditKind::Unknown => procedure.result.unit.name(),
        AuditKind::Lot | AuditKind::ExcessLot => "mol/L",
        // nothing is assigned to these
        AuditKind::Section | AuditKind::Assistant | AuditKind::Instrument | AuditKind::Day => "",
    }
}

/// What few results can show, in a sentence for the groups of one kind; none where all are of many results.
pub fn what_is_seen<'a>(groups: impl Iterator<Item = &'a AuditGroup>) -> Option<String> {
    let few = groups.filter(|group| group.n() <= FEW && group.verdict != Verdict::TooFew);
    // of groups of one size, the one that shows least
    let mut sizes: BTreeMap<usize, Option<f64>> = BTreeMap::new();
    for group in few {
        let seen = group.seen_from_percent;
        let least = sizes.entry(group.n()).or_insert(seen);
        *least = least.zip(seen).map(|(one, other)| one.max(other));
    }
    let words = |(n, seen): (usize, Option<f64>)| {
        let results = counted(n, "result", "results");
        match seen {
            Some(from) => format!("with {results} one that is {} % off", decimals(from, 1)),
            None => format!("with {results} none in a class like this"),
        }
    };
    let sizes: Vec<String> = sizes.into_iter().map(words).collect();
    (!sizes.is_empty()).then(|| {
        let sizes = sizes.join(", ");
        format!("What few results show: {sizes} would be seen four times in five. What is less off may go unseen.")
    })
}

/// Why it is no other group, a sentence for each reason.
pub fn ruled_out(verdict: &Verdict) -> Vec<String> {
    let Verdict::Off { ruled_out, .. } = verdict else {
        return Vec::new();
    };
    let reason = |ruled: &Ruled| (ruled.sound_inside, ruled.off_outside);
    let mut reasons: Vec<_> = ruled_out.iter().map(reason).collect();
    reasons.dedup();
    let sentence = |(inside, outside): (Option<usize>, Option<usize>)| {
        let same = ruled_out.iter().filter(|r| reason(r) == (inside, outside));
        let names: Vec<String> = same.map(|ruled| ruled.group.to_string()).collect();
        let inside = inside.map(|n| format!("{n} other results in it are not off"));
        let outside = outside.map(|n| format!("{n} results outside it are off as well"));
        let why: Vec<String> = inside.into_iter().chain(outside).collect();
        format!("It is not {}: {}.", names.join(" or "), why.join(", and "))
    };
    let mut said: Vec<String> = Vec::new();
    for reason in reasons {
        let words = sentence(reason);
        if !said.contains(&words) {
            said.push(words);
        }
    }
    said
}

/// What to do about a group that looks off.
pub fn what_to_do(group: &AuditGroup, everybody: bool) -> String {
    let mut words = match group.name.kind {
        _ if group.drift().is_some() => {
            "Standardise the lot again today, and ask how it was kept: open, warm, in the light. A lot has one value at a time, so the values by day below cannot be entered side by side: one value in the middle of the time leaves the first and the last day off by half of what was lost between them. Where sections of other days have lots of their own from now on, each is entered with the value of its day."
        }
        AuditKind::Unknown => {
            "Read the record of its preparation again and titrate the bottle yourself, before the value is corrected."
        }
        AuditKind::Lot | AuditKind::ExcessLot => {
            "Standardise the lot again, and ask whether its bottle stood open or was topped up, before the value is corrected."
        }
        AuditKind::Section | AuditKind::Assistant => {
            "No value is to be corrected. See how endpoints and burettes are read there: a shade too far is a tenth of a millilitre."
        }
        AuditKind::Day => {
            "No value is to be corrected. Ask what was other on that day: the water, the indicator, the temperature, the bottle that stood on the bench."
        }
        AuditKind::Instrument => {
            "Take it out of use and weigh what it delivers. No value is to be corrected; its students can be given their points back."
        }
    }
    .to_owned();
    if let Verdict::Off { rivals, .. } = &group.verdict
        && !rivals.is_empty()
    {
        words.push_str(" The results alone cannot say which of these it is: that has to be found at the bench.");
    }
    if everybody {
        words.push_str(
            " All results rest on it, so a bias of the procedure itself would look the same.",
        );
    }
    words
}

/// A signed number of percent.
pub fn signed(percent: f64) -> String {
    signed_to(percent, 2)
}

/// A signed number with so many decimals.
pub fn signed_to(percent: f64, places: u32) -> String {
    let text = decimals(percent.abs(), places);
    match percent {
        _ if text.bytes().all(|b| b == b'0' || b == b'.') => format!("\u{2007}{text}"),
        below if below < 0.0 => format!("\u{2212}{text}"),
        _ => format!("+{text}"),
    }
}

/// A signed number of percent with its standard uncertainty.
pub fn with_uncertainty(percent: f64, standard: f64) -> String {
    let text = format!("{} \u{b1} {}", signed(percent), decimals(standard, 2));
    text.trim().to_owned()
}

pub fn decimals(value: f64, n: u32) -> String {
    from_f64(value, 12)
        .map(|value| to_decimals(value, n).to_string())
        .unwrap_or_default()
}

/// A probability as people say it.
pub fn share(p: f64) -> String {
    if p < 1e-6 {
        return "< 10\u{207b}\u{2076}".to_owned();
    }
    if p > 0.05 {
        return decimals(p, 2);
    }
    let one_in = from_f64((1.0 / p).round(), 2).map(plain);
    format!("1 in {}", one_in.unwrap_or_default())
}
