//! Volumes read off a burette.

use super::component::{Cause, Component};
use super::graph::{Operation, Sign, StepId, WorkUpError, Worked};
use super::parts::{Builder, EXPANSION, rectangular, triangular};
use super::quantity::{Instrument, Of, Quantity};
use super::role::{Role, Titre};
use super::trials::Measured;
use crate::columns::Column;
use crate::measure::{Glassware, as_f64};
use crate::procedure::{Procedure, ReadingDoubt};
use crate::submission::{Delivery, Piece, Titration};

/// How much of the variance of one delivery's error other deliveries of the same burette share. ISO 385 limits the error at
/// any point and the difference between the errors at any two points by one and the same tolerance: two errors that are
/// triangular within it, and so is their difference, share half of their variance.
pub const SHARED_CALIBRATION: f64 = 0.5;

/// What a burette may be off, as standard uncertainties in mL; worked out once per hand-in.
#[derive(Clone, Copy)]
pub struct BuretteUncertainty {
    /// Of one reading.
    pub reading: f64,
    calibration: f64,
    /// Half of a drop, rectangular.
    endpoint: f64,
    /// The part of it that is one person's in every titration, rectangular.
    endpoint_bias: f64,
    pub temperature: f64,
}

impl BuretteUncertainty {
    pub fn of(burette: Option<&Glassware>, stated: &ReadingDoubt) -> Self {
        Self {
            reading: triangular(stated.burette_reading),
            calibration: burette.map_or(0.0, |b| triangular(b.tolerance())),
            endpoint: rectangular(stated.drop) / 2.0,
            endpoint_bias: rectangular(stated.endpoint_bias),
            temperature: EXPANSION * rectangular(stated.temperature),
        }
    }
}

/// Standard deviation of one delivered volume, mL, that its two readings and its endpoint predict; none where nothing
/// is titrated.
pub fn titre_scatter(procedure: &Procedure) -> Option<f64> {
    let burette = BuretteUncertainty::of(Some(procedure.burette()?), &procedure.uncertainty);
    Some((2.0 * burette.reading.powi(2) + burette.endpoint.powi(2)).sqrt())
}

impl Builder<'_> {
    /// Volume delivered in one titration, mL: the sum of end − start over its pieces.
    pub fn delivered(&mut self, delivery: Delivery, row: &Titration, of: Of) -> Worked<StepId> {
        let pieces: Vec<Piece> = row.pieces(delivery).collect();
        if pieces.is_empty() {
            return Err(WorkUpError {
                label: Quantity::new(Role::Delivered(delivery)).of(of).named(),
                what: "why.no-reading",
            });
        }
        let mut terms = smallvec::SmallVec::new();
        for (index, piece) in pieces.iter().enumerate() {
            let filling = if pieces.len() > 1 {
                index.saturating_add(1)
            } else {
                0
            };
            let quantity = |role| Quantity::new(role).of(of).filling(filling);
            let end = quantity(Role::BuretteEnd(delivery));
            terms.push((Sign::Plus, self.reading(end, piece.end.value())));
            let start = quantity(Role::BuretteStart(delivery));
            terms.push((Sign::Minus, self.reading(start, piece.start.value())));
        }
        let quantity = Quantity::new(Role::Delivered(delivery)).of(of);
        let volume = self.graph.step(quantity, "mL", Operation::Sum(terms))?;
        if delivery == Delivery::Excess {
            // from a burette of its own, to a mark and not to an endpoint
            let excess = self.procedure.excess().and_then(|excess| excess.burette());
            let calibration = excess.map_or(0.0, |b| triangular(b.tolerance()));
            let cause = Cause::Calibration(Role::ExcessVolume);
            self.calibration_components(volume, (cause, calibration), pieces.len(), of);
        } else {
            let bracket = (delivery == Delivery::First).then(|| self.bracket(row));
            self.calibration_component(volume, pieces.len(), of);
            self.endpoint_component(volume, bracket.flatten(), of);
        }
        self.warmth(volume);
        Ok(volume)
    }

    /// As standard uncertainty, mL: half of what was let in last, where the reading before it was noted. The endpoint
    /// lies within it as it lies within half of a drop where nothing was noted.
    fn bracket(&self, row: &Titration) -> Option<f64> {
        let end = row.pieces(Delivery::First).last()?.end.value();
        let before = Column::BeforeLastDrop.get(row)?.value();
        let last = end.checked_sub(before)?;
        Some(rectangular(last) / 2.0)
    }

    /// What a row with one titre measures.
    pub fn titre(&mut self, row: &Titration, of: Of) -> Worked<Measured> {
        let delivered = self.delivered(Delivery::First, row, of)?;
        Ok(Measured {
            delivered: Some(delivered),
            ..Measured::one(delivered, Role::MeanBlank(Titre::Whole))
        })
    }

    /// Volume to the first of two endpoints in one flask, mL: from the same start reading as the whole.
    pub fn to_first_endpoint(&mut self, row: &Titration, of: Of) -> Worked<Option<StepId>> {
        // of the first filling, which comes first
        let start = self.graph.find(Role::BuretteStart(Delivery::First), of);
        let (Some(start), Some(read)) = (start, Column::FirstEndpoint.get(row)) else {
            return Ok(None);
        };
        let quantity = Quantity::new(Role::FirstEndpointReading).of(of);
        let reading = self.reading(quantity, read.value());
        let terms = Operation::sum([(Sign::Plus, reading), (Sign::Minus, start)]);
        let quantity = Quantity::new(Role::ToFirstEndpoint).of(of);
        let volume = self.graph.step(quantity, "mL", terms)?;
        self.calibration_component(volume, 1, of);
        self.endpoint_component(volume, None, of);
        self.warmth(volume);
        Ok(Some(volume))
    }

    /// A volume that follows from points of a curve, mL, is uncertain by the calibration and by the reading at the start,
    /// from which all points are counted.
    pub fn volume_added(&mut self, volume: StepId, of: Of) {
        self.calibration_component(volume, 1, of);
        let start = Component::each(Cause::BuretteReading, self.burette.reading, of);
        self.graph.uncertain(volume, start);
        self.warmth(volume);
    }

    /// One reading of a burette, mL.
    pub fn reading(&mut self, quantity: Quantity, value: rust_decimal::Decimal) -> StepId {
        let of = quantity.of;
        let quantity = quantity.read(Instrument::Burette);
        let step = self.graph.given(quantity, "mL", value);
        let component = Component::each(Cause::BuretteReading, self.burette.reading, of);
        self.graph.uncertain(step, component);
        step
    }

    /// Once per filling: what deliveries of one burette share, in trials, blanks and second portions alike, and what each
    /// has of its own.
    fn calibration_component(&mut self, volume: StepId, fillings: usize, of: Of) {
        let calibration = (Cause::BuretteCalibration, self.burette.calibration);
        self.calibration_components(volume, calibration, fillings, of);
    }

    fn calibration_components(
        &mut self,
        volume: StepId,
        (cause, calibration): (Cause, f64),
        fillings: usize,
        of: Of,
    ) {
        let fillings = fillings.max(1) as f64;
        let shared = calibration * SHARED_CALIBRATION.sqrt() * fillings;
        self.graph
            .uncertain(volume, Component::shared(cause, shared));
        let own = calibration * ((1.0 - SHARED_CALIBRATION) * fillings).sqrt();
        let own = Component::each(Cause::BuretteDelivery, own, of);
        self.graph.uncertain(volume, own);
    }

    /// A bracket can only narrow it: nobody is worse off for having noted one.
    fn endpoint_component(&mut self, volume: StepId, bracket: Option<f64>, of: Of) {
        let stated = self.burette.endpoint;
        let standard = bracket.map_or(stated, |bracket| bracket.min(stated));
        let endpoint = Component::each(Cause::Endpoint, standard, of);
        self.graph.uncertain(volume, endpoint);
        let bias = Component::shared(Cause::EndpointBias, self.burette.endpoint_bias);
        self.graph.uncertain(volume, bias);
    }

    /// A volume's part in the laboratory's temperature: one error everywhere, so that it cancels between the volumes of
    /// titrant and sample.
    pub fn warmth(&mut self, volume: StepId) {
        if self.burette.temperature > 0.0 {
            let standard = self.burette.temperature * as_f64(self.graph.value(volume)).abs();
            let component = Component::shared(Cause::Temperature, standard);
            self.graph.uncertain(volume, component);
        }
    }

    /// Titrant used by the sample: delivered volume less the blank, mL.
    pub fn net(&mut self, delivered: StepId, blank: Option<StepId>, of: Of) -> Worked<StepId> {
        let Some(blank) = blank else {
            return Ok(delivered);
        };
        let terms = Operation::sum([(Sign::Plus, delivered), (Sign::Minus, blank)]);
        let quantity = Quantity::new(Role::Net).of(of);
        self.graph.step(quantity, "mL", terms)
    }
}
