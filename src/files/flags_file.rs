//! `flags.csv`: a row per flag with its evidence.

use std::collections::HashMap;

use crate::judge::Flag;
use crate::measure::{from_f64, plain};
use crate::term::{Judged, Slot, Term};
use crate::text::{WrittenColumn, guarded, write_columns};

struct FlagRow<'t> {
    slot: &'t Slot,
    flag: &'t Flag,
    /// How many submissions the student's section has.
    size: u32,
}

fn columns<'t>() -> [WrittenColumn<FlagRow<'t>>; 6] {
    [
        ("experiment", |row| row.slot.experiment.to_string()),
        ("student_id", |row| guarded(&row.slot.student)),
        ("flag", |row| row.flag.code.code().to_owned()),
        ("evidence", |row| guarded(&row.flag.evidence)),
        ("expected_by_chance", |row| {
            let expected = from_f64(row.flag.chance * f64::from(row.size), 10);
            expected.map(plain).unwrap_or_default()
        }),
        ("candidates", |row| candidates(row.flag)),
    ]
}

/// One row per flag in the order given. `expected_by_chance` is the number of such flags that chance alone raises in
/// the student's section for the experiment: the flag's chance times the submissions there.
pub fn flags_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let sections: HashMap<&str, &str> = term
        .students
        .iter()
        .map(|s| (s.id.as_str(), s.section.as_str()))
        .collect();
    let section = |slot: &Slot| sections.get(slot.student.as_str()).copied();
    let mut sizes: HashMap<(&str, Option<&str>), u32> = HashMap::new();
    for (slot, _) in judged {
        let size = sizes
            .entry((slot.experiment.as_str(), section(slot)))
            .or_default();
        *size = size.saturating_add(1);
    }
    let rows = judged.iter().flat_map(|(slot, judged)| {
        let place = (slot.experiment.as_str(), section(slot));
        let size = sizes.get(&place).copied().unwrap_or_default();
        let flags = judged.evaluation.flags.iter();
        flags.map(move |flag| FlagRow { slot, flag, size })
    });
    write_columns(&columns(), rows)
}

/// Slips that would explain it as `code share`, separated by semicolons.
fn candidates(flag: &Flag) -> String {
    let each = flag.candidates.iter();
    let each = each.map(|(code, share)| format!("{code} {}", plain(*share)));
    each.collect::<Vec<_>>().join("; ")
}
