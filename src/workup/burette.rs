//! Volumes read off a burette.

use std::borrow::Cow;

use super::graph::{Operation, Scope, Sign, StepId, WorkUpError};
use super::name::{Name, Of, words};
use super::parts::{Builder, EXPANSION, rectangular, triangular};
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Procedure, ReadingDoubt};
use crate::submission::Piece;

/// What a burette may be off, as standard uncertainties in mL; worked out once per hand-in.
#[derive(Clone, Copy)]
pub(super) struct BuretteDoubts {
    reading: f64,
    calibration: f64,
    endpoint: f64,
    /// Relative, by temperature.
    pub temperature: f64,
}

impl BuretteDoubts {
    pub fn of(burette: Option<&Glassware>, doubt: &ReadingDoubt) -> Self {
        Self {
            reading: triangular(doubt.burette_reading),
            calibration: burette.map_or(0.0, |b| triangular(b.tolerance())),
            endpoint: rectangular(doubt.drop) / 2.0,
            temperature: EXPANSION * rectangular(doubt.temperature),
        }
    }
}

/// Standard deviation of one delivered volume, mL, that its two readings and its endpoint predict; none where nothing
/// is titrated.
pub fn titre_scatter(procedure: &Procedure) -> Option<f64> {
    let doubts = BuretteDoubts::of(Some(procedure.burette()?), &procedure.uncertainty);
    Some((2.0 * doubts.reading.powi(2) + doubts.endpoint.powi(2)).sqrt())
}

impl Builder<'_> {
    /// Volume delivered in one titration, mL: the sum of end − start over its pieces.
    pub fn delivered(&mut self, pieces: &[Piece], of: Of) -> Result<StepId, WorkUpError> {
        self.volume(
            pieces,
            [(words::END, "e"), (words::START, "s")],
            (words::DELIVERED, "V"),
            of,
        )
    }

    /// Volume delivered in the titration of a second portion, mL.
    pub fn second_delivered(&mut self, pieces: &[Piece], of: Of) -> Result<StepId, WorkUpError> {
        let readings = [(words::SECOND_END, "ew"), (words::SECOND_START, "sw")];
        self.volume(pieces, readings, (words::SECOND_DELIVERED, "W"), of)
    }

    fn volume(
        &mut self,
        pieces: &[Piece],
        [end, start]: [(&'static str, &'static str); 2],
        (label, symbol): (&'static str, &'static str),
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let mut terms = smallvec::SmallVec::new();
        for (index, piece) in pieces.iter().enumerate() {
            let filling = if pieces.len() > 1 {
                index.saturating_add(1)
            } else {
                0
            };
            let end_name = Name::new(end.0, end.1).of(of).filling(filling);
            let start_name = Name::new(start.0, start.1).of(of).filling(filling);
            terms.push((Sign::Plus, self.reading(end_name, piece.end.value(), of)));
            terms.push((
                Sign::Minus,
                self.reading(start_name, piece.start.value(), of),
            ));
        }
        let volume =
            self.graph
                .step(Name::new(label, symbol).of(of), "mL", Operation::Sum(terms))?;
        self.volume_doubts(volume, pieces.len(), of);
        Ok(volume)
    }

    /// One reading of a burette, mL.
    pub fn reading(&mut self, name: Name, value: rust_decimal::Decimal, of: Of) -> StepId {
        let step = self.graph.given(name.read(), "mL", value);
        let (words, scope) = cause("burette reading", of);
        self.graph.doubt(step, words, self.burette.reading, scope);
        step
    }

    /// Calibration once per filling, one endpoint, temperature.
    pub fn volume_doubts(&mut self, volume: StepId, fillings: usize, of: Of) {
        let calibration = self.burette.calibration * fillings.max(1) as f64;
        let calibrated = if matches!(of, Of::Blank(_)) {
            "burette calibration, blank"
        } else {
            "burette calibration"
        };
        self.graph
            .doubt(volume, calibrated, calibration, Scope::Shared);
        let (words, scope) = cause("endpoint", of);
        self.graph
            .doubt(volume, words, self.burette.endpoint, scope);
        self.warmth(volume);
    }

    /// A volume's part in the laboratory's temperature: one error everywhere, so that it cancels between the volumes of
    /// titrant and sample.
    pub fn warmth(&mut self, volume: StepId) {
        if self.burette.temperature > 0.0 {
            let standard = self.burette.temperature * as_f64(self.graph.value(volume)).abs();
            self.graph
                .doubt(volume, "temperature", standard, Scope::Shared);
        }
    }

    /// Mean of the blanks; none if there is none.
    pub fn blank(
        &mut self,
        volumes: &[StepId],
        name: (&'static str, &'static str),
        unit: &'static str,
    ) -> Result<Option<StepId>, WorkUpError> {
        match volumes {
            [] => Ok(None),
            [one] => Ok(Some(*one)),
            many => {
                let mean = Operation::mean(many.iter().copied());
                self.graph.step(name, unit, mean).map(Some)
            }
        }
    }

    /// Titrant used by the sample: delivered volume less the blank, mL.
    pub fn net(
        &mut self,
        delivered: StepId,
        blank: Option<StepId>,
        of: Of,
    ) -> Result<StepId, WorkUpError> {
        let Some(blank) = blank else {
            return Ok(delivered);
        };
        let terms = Operation::sum([(Sign::Plus, delivered), (Sign::Minus, blank)]);
        let name = Name::new(words::NET, "V*").of(of);
        self.graph.step(name, "mL", terms)
    }
}

/// The name and scope of an error that is drawn anew at each reading: the blank's are shared by every trial.
pub(super) fn cause(name: &'static str, of: Of) -> (Cow<'static, str>, Scope) {
    match of {
        Of::Blank(_) => (format!("{name}, blank").into(), Scope::Common),
        Of::Standard(_) => (format!("{name}, standards").into(), Scope::Common),
        _ => (name.into(), Scope::Each),
    }
}
