//! `recompute`.

use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_existing, progress};
use crate::desk::{self, Desk, Difference};
use crate::judge::RULES;
use crate::store::first_difference;
use crate::words::counted;

/// Judges everything anew; with `verify` changes nothing and fails on any difference.
pub async fn run(db: &Path, verify: bool) -> Result<(), Failure> {
    let desk = Desk::open(open_existing(db).await?).await?;
    progress("judging every submission");
    let (count, differences) = if verify {
        desk::verify(&desk).await?
    } else {
        desk::recompute(&desk, Timestamp::now()).await?
    };
    for difference in &differences {
        println!("{}", line(difference));
    }
    let differ = if verify {
        counted(
            differences.len(),
            "differs from what is stored",
            "differ from what is stored",
        )
    } else {
        counted(
            differences.len(),
            "differed and was stored anew",
            "differed and were stored anew",
        )
    };
    let judged = counted(count, "submission", "submissions");
    println!("{judged} judged, {differ}");
    if verify && let Some(what) = first_difference(&mut *desk.store().read().await?).await? {
        return Err(Failure::Other(what));
    }
    desk.close().await;
    if verify && !differences.is_empty() {
        let altered = differences.iter().filter(|one| one.same_rules).count();
        let of_other_rules = differences.len().saturating_sub(altered);
        return Err(Failure::Other(match altered {
            0 => format!(
                "{of_other_rules} judged by other rules than those of this program (version {RULES}); nothing speaks of tampering, and recompute judges them anew"
            ),
            _ => format!(
                "found differences in {altered} judged by the very rules of this program (version {RULES}), expected none; {of_other_rules} judged by other rules"
            ),
        }));
    }
    Ok(())
}

fn line(difference: &Difference) -> String {
    let points = |judged: &Option<crate::term::Judged>| {
        judged.as_ref().map_or("nothing".to_owned(), |j| {
            counted(j.evaluation.marks.total, "point", "points")
        })
    };
    // one that another release wrote in a form that this one does not read counts as none
    let stored = match &difference.stored {
        None => "nothing that can be read".to_owned(),
        stored => points(stored),
    };
    let fresh = points(&difference.fresh);
    let same = if stored == fresh {
        ", figures or flags differ"
    } else {
        ""
    };
    let slot = &difference.slot;
    format!(
        "{}, {}: stored {stored}, judged {fresh}{same}",
        slot.experiment, slot.student
    )
}
