//! Whether a sample can be measured as a procedure says.

use rust_decimal::Decimal;

use super::{Aliquot, Purity, Sample, SampleBy};
use crate::measure::GlasswareKind;

impl Sample {
    /// Whether portions of it differ: each is weighed or read on its own.
    pub fn is_unlike(&self) -> bool {
        let weighed = self.by != SampleBy::Volume;
        (weighed || self.glassware.kind().is_read()) && self.aliquot.is_none()
    }

    pub(super) fn check(&self, standard: bool, fault: &mut impl FnMut(&str, String)) {
        let kind = self.glassware.kind();
        let weighed = self.by != SampleBy::Volume;
        if weighed != (kind == GlasswareKind::Balance) || kind.is_burette() {
            let expected = if weighed {
                "a balance"
            } else {
                "a cylinder, pipette or flask"
            };
            fault(
                "sample.glassware",
                format!("found a {}, expected {expected}", kind.name()),
            );
        }
        if self.nominal <= Decimal::ZERO {
            fault(
                "sample.nominal",
                format!("found {}, expected a number above 0", self.nominal),
            );
        } else if kind.is_read() && self.nominal > self.glassware.capacity() {
            let (found, most) = (self.nominal, self.glassware.capacity());
            fault(
                "sample.nominal",
                format!(
                    "found {found}, expected at most the {most} {} it holds",
                    kind.unit()
                ),
            );
        } else if !kind.is_read() && self.nominal != self.glassware.capacity() {
            let (found, size) = (self.nominal, self.glassware.capacity());
            fault(
                "sample.nominal",
                format!(
                    "found {found}, expected the {size} mL of the single-mark {}",
                    kind.name()
                ),
            );
        }
        if let Some(Aliquot { flask, pipette }) = &self.aliquot {
            if flask.kind() != GlasswareKind::Flask {
                fault(
                    "sample.made_up_in",
                    format!("found a {}, expected a flask", flask.kind().name()),
                );
            }
            if pipette.kind() != GlasswareKind::Pipette {
                fault(
                    "sample.taken_with",
                    format!("found a {}, expected a pipette", pipette.kind().name()),
                );
            }
            if pipette.capacity() > flask.capacity() {
                let (found, most) = (pipette.capacity(), flask.capacity());
                fault(
                    "sample.taken_with",
                    format!("found {found} mL, expected at most the flask's {most} mL"),
                );
            }
            if !weighed && self.nominal > flask.capacity() {
                let (found, most) = (self.nominal, flask.capacity());
                fault(
                    "sample.made_up_in",
                    format!("found {most} mL, expected at least the sample's {found} mL"),
                );
            }
        }
        if let Some(Purity {
            fraction,
            half_width,
        }) = self.purity
        {
            if fraction <= Decimal::ZERO || fraction > Decimal::ONE {
                fault(
                    "sample.purity",
                    format!("found {fraction}, expected a mass fraction above 0 and at most 1"),
                );
            }
            if half_width < Decimal::ZERO || half_width >= fraction {
                fault(
                    "sample.purity_half_width",
                    format!("found {half_width}, expected 0 up to the purity"),
                );
            }
        }
        if !standard && (self.purity.is_some() || self.species.is_some()) {
            let key = if self.purity.is_some() {
                "sample.purity"
            } else {
                "sample.species"
            };
            fault(
                key,
                "found one, expected it only where the scheme is standardisation".into(),
            );
        }
    }
}
