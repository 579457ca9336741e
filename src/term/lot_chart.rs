//! A lot over the term: what each section's results say its molarity is, beside what was assigned.

use jiff::civil::DateTime;

use super::{ExperimentAudit, Term};
use crate::ids::ExperimentKey;
use crate::judge::{AuditKind, GroupName};
use crate::measure::{as_f64, from_f64};
use crate::stats::algorithm_a;
use crate::truth::Assigned;

/// What the results of one section, in one experiment, say of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionFinding {
    /// Key of the experiment.
    pub experiment: ExperimentKey,
    pub section: String,
    /// Middle of the times at which its results were handed in, local; when the experiment was due if no file says.
    pub at: DateTime,
    pub n: usize,
    /// The molarity with which the results would on average be right, and the standard uncertainty that the scatter of
    /// the results leaves it, mol/L.
    pub molarity: Assigned,
}

/// Results that a mean is worth drawing of.
const LEAST: usize = 3;

impl Term {
    /// What sections find of a lot, in order of time. Sections are not corrected for bottles that are off: it is a picture
    /// to look at, and the audit judges.
    pub fn lot_findings(&self, code: &str, audits: &[&ExperimentAudit]) -> Vec<SectionFinding> {
        let mut found: Vec<SectionFinding> = Vec::new();
        for audit in audits {
            for kind in [AuditKind::Lot, AuditKind::ExcessLot] {
                let lot = GroupName::new(kind, code);
                let Some(held) = audit.assigned.get(&lot) else {
                    continue;
                };
                for section in self.sections() {
                    let own = GroupName::new(AuditKind::Section, section);
                    let of = |f: &&super::Found| {
                        let groups = &f.observed.groups;
                        groups.contains(&lot) && groups.contains(&own)
                    };
                    let results: Vec<&super::Found> = audit.results.iter().filter(of).collect();
                    if results.len() >= LEAST {
                        let one = self.finding(audit, section, held, &results);
                        found.extend(one);
                    }
                }
            }
        }
        found.sort_by(|a, b| a.at.cmp(&b.at).then(a.section.cmp(&b.section)));
        found
    }

    fn finding(
        &self,
        audit: &ExperimentAudit,
        section: &str,
        held: &super::AssignedValue,
        results: &[&super::Found],
    ) -> Option<SectionFinding> {
        let errors: Vec<f64> = results.iter().map(|f| f.observed.error_percent).collect();
        let mean = algorithm_a(&errors)?;
        let slope = 1.0 / held.sensitivity;
        let off = 1.0 / (1.0 + mean.mean / 100.0) - 1.0;
        let value = as_f64(held.value.value) * (1.0 + off * slope);
        let u = value * mean.standard_uncertainty() / 100.0 * slope.abs();
        let zone = &self.course.zone;
        let times = results.iter().filter_map(|f| {
            let revisions = self.submissions.get(&f.slot)?;
            revisions.last()?.submitted_at
        });
        let mut times: Vec<jiff::Timestamp> = times.collect();
        times.sort_unstable();
        let due = self.experiment(&audit.experiment)?.dates.due;
        let at = times.get(times.len() / 2);
        Some(SectionFinding {
            experiment: audit.experiment.clone(),
            section: section.to_owned(),
            at: at.map_or(due, |at| zone.local(*at)),
            n: results.len(),
            molarity: Assigned {
                value: from_f64(value, 8)?,
                standard_uncertainty: from_f64(u, 4)?,
            },
        })
    }
}
