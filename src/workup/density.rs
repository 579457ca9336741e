//! Density: the content of a vessel is weighed; its volume is the vessel's nominal one, one that is read, or that of the
//! water that fills it.

use rust_decimal::Decimal;

use super::graph::{Operation, Scope, Sign, StepId, WorkUpError};
use super::gravimetric::content;
use super::name::{Name, Of};
use super::parts::{Builder, rectangular};
use super::trials::Measured;
use crate::measure::{as_f64, from_f64, water_density, water_density_slope};
use crate::procedure::Vessel;

/// Density of air, g/mL, at 20 °C and sea level, and how far weather and height may take it, rectangular (common
/// practice).
const AIR: (i64, f64) = (12, 0.000_1);
/// Density to which balances are adjusted, g/mL (OIML D 28: conventional mass).
const WEIGHTS: i64 = 8;
/// How well the temperature of the water is known, °C, rectangular (common practice).
const WATER_WITHIN: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

/// By volume: ρ = m · (1 − ρ_air/8.0) / V + ρ_air. By water: ρ = (m / m_w) · (ρ_w − ρ_air) + ρ_air. Both allow for the
/// buoyancy of air.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    vessel: &Vessel,
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let row = measured.row;
    let words = ("mass of the liquid", "m");
    let mass = content(builder, row, &vessel.balance, words, of)?;
    let air = builder.once(Name::new("density of air", "\u{3c1}a"), |builder, name| {
        let step = builder.graph.given(name, "g/mL", Decimal::new(AIR.0, 4));
        let standard = AIR.1 / 3f64.sqrt();
        builder
            .graph
            .doubt(step, "density of air", standard, Scope::Shared);
        step
    });
    let in_air = if let Some(celsius) = vessel.water {
        let water = water(builder, celsius)?;
        let less_air = Operation::sum([(Sign::Plus, water), (Sign::Minus, air)]);
        let name = Name::new("density of water less air", "\u{3c1}w\u{2032}").of(of);
        let less_air = builder.graph.step(name, "g/mL", less_air)?;
        let filled = mass_of_water(builder, vessel, measured, of)?;
        let name = Name::new("density less air", "\u{3c1}\u{2032}").of(of);
        let quotient = Operation::quotient([mass, less_air], [filled]);
        builder.graph.step(name, "g/mL", quotient)?
    } else {
        let one = builder.exact("one", "1", Decimal::ONE);
        let weights = builder.once(Name::new("density of weights", "\u{3c1}s"), |b, name| {
            let step = b.graph.given(name, "g/mL", Decimal::from(WEIGHTS));
            b.graph.significant(step, None);
            step
        });
        let share = Operation::quotient([air], [weights]);
        let name = Name::new("air borne by the weights", "b").of(of);
        let share = builder.graph.step(name, "", share)?;
        let factor = Operation::sum([(Sign::Plus, one), (Sign::Minus, share)]);
        let name = Name::new("buoyancy of the weights", "K").of(of);
        let factor = builder.graph.step(name, "", factor)?;
        let volume = builder.sample(row, of)?;
        let quotient = Operation::quotient([mass, factor], [volume]);
        let name = Name::new("density less air", "\u{3c1}\u{2032}").of(of);
        builder.graph.step(name, "g/mL", quotient)?
    };
    let sum = Operation::sum([(Sign::Plus, in_air), (Sign::Plus, air)]);
    let result = builder
        .graph
        .step(Name::new("result", "x").of(of), "g/mL", sum)?;
    builder.repeatable(result);
    Ok(result)
}

fn mass_of_water<'a>(
    builder: &mut Builder<'a>,
    vessel: &Vessel,
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let other = &measured.row.other;
    let missing = || WorkUpError {
        label: format!("mass of water, {of}"),
        what: "no reading of it",
    };
    let read = other.water.as_ref().ok_or_else(missing)?;
    let empty = other.empty.as_ref().ok_or_else(missing)?;
    let balance = &vessel.balance;
    let name = Name::new("mass full of water", "gw").of(of);
    let full = builder.weighing(name, read, balance, "balance linearity, water", 1.0);
    // the same weighing of the empty vessel as for the liquid
    let name = Name::new("mass empty", "e").of(of).read();
    let known = builder.graph.steps().find(|(_, step)| step.name == name);
    let empty = match known {
        Some((id, _)) => id,
        None => builder.weighing(name, empty, balance, "balance linearity, empty", 1.0),
    };
    let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
    let name = Name::new("mass of water", "mw").of(of);
    builder.graph.step(name, "g", terms)
}

fn water(builder: &mut Builder, celsius: Decimal) -> Result<StepId, WorkUpError> {
    let at = as_f64(celsius);
    let value = water_density(at).and_then(|density| from_f64(density, 15));
    let (value, slope) = value
        .zip(water_density_slope(at))
        .ok_or_else(|| WorkUpError {
            label: "density of water".to_owned(),
            what: "a temperature at which it is not liquid",
        })?;
    let name = Name::new("density of water", "\u{3c1}w").with(format!("{celsius} \u{b0}C"));
    Ok(builder.once(name, |builder, name| {
        let step = builder.graph.given(name, "g/mL", value);
        // the formula is good to 1 in the sixth decimal
        builder.graph.significant(step, Some(6));
        let standard = slope.abs() * rectangular(WATER_WITHIN);
        builder
            .graph
            .doubt(step, "temperature of the water", standard, Scope::Shared);
        step
    }))
}
