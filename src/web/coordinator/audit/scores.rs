//! Single results beside the class, in words and figures.

use super::words::{decimals, signed, signed_to};
use crate::stats::ScoreClass;
use crate::term::{ExperimentAudit, Term};
use crate::words::counted;

/// Most results that are listed; the rest is counted.
const MOST: usize = 10;

/// The results that stand out from the class.
pub struct StandingOut {
    /// Robust mean and standard deviation of the class, percent.
    pub mean: String,
    pub s: String,
    pub n: usize,
    /// The furthest from the class first.
    pub rows: Vec<ScoreRow>,
    /// How many more there are.
    pub more: usize,
    /// Whether Grubbs' test names a result in some group, in a sentence.
    pub grubbs: String,
    /// Those it names, each with its groups.
    pub outliers: Vec<String>,
}

pub struct ScoreRow {
    pub student: String,
    pub id: String,
    pub error: String,
    pub z: String,
    pub zeta: Option<String>,
    pub class: ScoreClass,
}

impl StandingOut {
    pub fn of(term: &Term, audit: &ExperimentAudit) -> Option<Self> {
        let scores = audit.scores.as_ref()?;
        let person = |result: usize| {
            let found = &audit.results[result];
            let name = term.student(&found.slot.student).map(ToString::to_string);
            let error = signed(found.observed.error_percent).trim().to_owned();
            (
                name.unwrap_or_default(),
                found.slot.student.to_string(),
                error,
            )
        };
        let rows = scores.standing_out.iter().take(MOST).map(|scored| {
            let (student, id, error) = person(scored.result);
            ScoreRow {
                student,
                id,
                error,
                z: signed(scored.z),
                zeta: scored.zeta.map(signed),
                class: ScoreClass::of(scored.z),
            }
        });
        let (outliers, tested) = audit.outliers();
        let groups = counted(tested, "group", "groups");
        let grubbs = match outliers.len() {
            _ if tested == 0 => {
                "No group has three results that differ, so none is tested for an outlier"
                    .to_owned()
            }
            0 => format!(
                "In {groups} of three results or more, none lies further out than chance allows"
            ),
            n => format!(
                "In {groups} of three results or more, {} further out than chance allows",
                counted(n, "result lies", "results lie")
            ),
        };
        let outliers = outliers.into_iter().map(|(result, groups)| {
            let (student, id, error) = person(result);
            let groups: Vec<String> = groups.iter().map(ToString::to_string).collect();
            format!("{student} ({id}), {error} %: in {}", groups.join(", "))
        });
        Some(Self {
            mean: signed_to(scores.class.mean, 2).trim().to_owned(),
            s: decimals(scores.class.s, 2),
            n: scores.class.n,
            rows: rows.collect(),
            more: scores.standing_out.len().saturating_sub(MOST),
            grubbs,
            outliers: outliers.collect(),
        })
    }
}
