//! What one experiment takes over from an earlier one.

use super::Procedure;
use crate::schemes::{Calibration, Scheme};
use crate::words::named;

/// A titrant whose molarity is what was found for it in an earlier experiment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CarriedOver {
    /// Key of that experiment, or of its procedure.
    pub from: String,
    /// Whose result it is.
    pub by: CarriedBy,
}

/// Whose earlier result counts for a student.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CarriedBy {
    /// The student's own.
    Student,
    /// Those of the bench group, pooled.
    Bench,
    /// Those of the section, pooled.
    Section,
}

named! { CarriedBy, name, from_name:
    Student = "student",
    Bench = "bench",
    Section = "section",
}

impl Procedure {
    /// Where the titrant's molarity is carried over from.
    pub fn carried_over(&self) -> Option<&CarriedOver> {
        self.titrant()?.carried.as_ref()
    }

    /// The calibration line that is taken over from an earlier experiment, with the key of that one or of its procedure.
    pub fn line_taken_over(&self) -> Option<(&Calibration, &str)> {
        let Scheme::CalibrationLine(scheme) = &self.scheme else {
            return None;
        };
        Some((&scheme.calibration, scheme.calibration.from.as_deref()?))
    }

    /// The line of this procedure's own standards, which a later experiment may take over.
    pub fn line(&self) -> Option<&Calibration> {
        match &self.scheme {
            Scheme::CalibrationLine(scheme) => Some(&scheme.calibration),
            _ => None,
        }
    }
}
