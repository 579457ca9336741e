//! What a section can learn from those that had the experiment before it.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::{BySlot, Judged, Term};
use crate::ids::ExperimentKey;
use crate::judge::SlipCode;
use crate::words::{counted, listed};

/// From so many hand-ins on something is said.
const FEWEST: usize = 5;
/// A slip that fewer made is nobody else's affair.
const FEWEST_ALIKE: usize = 2;
/// Most slips that are named.
const MOST: usize = 3;
/// A slip counts where it is likelier than not.
const LIKELY: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

impl Term {
    /// What the other sections' work shows of an experiment, in a sentence for whoever teaches it next; none where too few
    /// have handed in. It names slips and no student, and nothing of a true value.
    pub fn learned_elsewhere(
        &self,
        judged: &BySlot<Judged>,
        experiment: &ExperimentKey,
        section: &str,
    ) -> Option<String> {
        let elsewhere = judged.iter().filter(|(slot, _)| {
            let student = self.student(&slot.student);
            slot.experiment == *experiment && student.is_some_and(|one| one.section != section)
        });
        let (mut handed_in, mut slips) = (0_usize, BTreeMap::<SlipCode, usize>::new());
        for (_, one) in elsewhere {
            handed_in = handed_in.saturating_add(1);
            let candidates = one
                .evaluation
                .flags
                .iter()
                .flat_map(|flag| &flag.candidates);
            let likely = candidates.filter(|(_, share)| *share > LIKELY);
            let mut codes: Vec<SlipCode> = likely.map(|(code, _)| *code).collect();
            codes.sort_unstable();
            codes.dedup();
            for code in codes {
                let count = slips.entry(code).or_default();
                *count = count.saturating_add(1);
            }
        }
        if handed_in < FEWEST {
            return None;
        }
        let mut common: Vec<(SlipCode, usize)> = slips
            .into_iter()
            .filter(|(_, count)| *count >= FEWEST_ALIKE)
            .collect();
        common.sort_by_key(|(code, count)| (std::cmp::Reverse(*count), *code));
        common.truncate(MOST);
        let named: Vec<String> = common
            .iter()
            .map(|(code, count)| format!("{} ({count})", code.words()))
            .collect();
        let others = counted(handed_in, "hand-in", "hand-ins");
        Some(match named.as_slice() {
            [] => format!("Of {others} in other sections no slip stands out."),
            some => format!(
                "Of {others} in other sections the commonest slips: {}.",
                listed(some)
            ),
        })
    }
}
