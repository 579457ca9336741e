//! `flags.csv`: a row per flag with its evidence.

use std::collections::HashMap;

use crate::judge::Flag;
use crate::measure::{from_f64, plain};
use crate::term::{Judged, Slot, Term};
use crate::text::{guarded, write_csv};

/// One row per flag in the order given. `expected_by_chance` is the number of such flags that chance alone raises in
/// the student's section for the experiment: the flag's chance times the submissions there.
pub fn flags_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let sections: HashMap<&str, &str> = term
        .students
        .iter()
        .map(|s| (s.id.as_str(), s.section.as_str()))
        .collect();
    let place = |slot: &'_ Slot| {
        sections
            .get(slot.student.as_str())
            .copied()
            .unwrap_or_default()
    };
    let mut sizes: HashMap<(&str, &str), u32> = HashMap::new();
    for (slot, _) in judged {
        let size = sizes
            .entry((slot.experiment.as_str(), place(slot)))
            .or_insert(0);
        *size = size.saturating_add(1);
    }
    let rows = judged.iter().flat_map(|(slot, judged)| {
        let size = sizes
            .get(&(slot.experiment.as_str(), place(slot)))
            .copied()
            .unwrap_or_default();
        judged.evaluation.flags.iter().map(move |flag| {
            let expected = from_f64(flag.chance * f64::from(size), 10);
            [
                slot.experiment.to_string(),
                guarded(&slot.student),
                flag.code.code().to_owned(),
                guarded(&flag.evidence),
                expected.map(plain).unwrap_or_default(),
                candidates(flag),
            ]
        })
    });
    let header = [
        "experiment",
        "student_id",
        "flag",
        "evidence",
        "expected_by_chance",
        "candidates",
    ];
    write_csv(&header, rows)
}

/// Slips that would explain it as `code share`, separated by semicolons.
fn candidates(flag: &Flag) -> String {
    let each = flag.candidates.iter();
    let each = each.map(|(code, share)| format!("{code} {}", plain(*share)));
    each.collect::<Vec<_>>().join("; ")
}
