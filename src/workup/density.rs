//! Density: the content of a vessel is weighed; its volume is the vessel's nominal one, one that is read, or that of the
//! water that fills it.

use rust_decimal::Decimal;

use super::component::{Component, Load};
use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::gravimetric::content;
use super::parts::{Builder, rectangular};
use super::quantity::{Of, Quantity};
use super::role::{Own, Role};
use super::trials::Measured;
use crate::measure::{as_f64, from_f64, water_density, water_density_slope};
use crate::procedure::Vessel;

const LIQUID: Own = Own::new("mass of the liquid", "m");
const OF_AIR: Own = Own::new("density of air", "\u{3c1}a");
const OF_WATER: Own = Own::new("density of water", "\u{3c1}w");
const OF_WATER_LESS_AIR: Own = Own::new("density of water less air", "\u{3c1}w\u{2032}");
const LESS_AIR: Own = Own::new("density less air", "\u{3c1}\u{2032}");
const ONE: Own = Own::new("one", "1");
const OF_WEIGHTS: Own = Own::new("density of weights", "\u{3c1}s");
const BORNE: Own = Own::new("air borne by the weights", "b");
const BUOYANCY: Own = Own::new("buoyancy of the weights", "K");
const FULL_OF_WATER: Own = Own::new("mass full of water", "gw");
const WATER: Own = Own::new("mass of water", "mw");

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
    let mass = content(builder, row, &vessel.balance, LIQUID, of)?;
    let air = builder.once(OF_AIR, |builder, air| {
        let step = builder.graph.given(air, "g/mL", Decimal::new(AIR.0, 4));
        let component = Component::shared("density of air", AIR.1 / 3f64.sqrt());
        builder.graph.uncertain(step, component);
        step
    });
    let in_air = if let Some(celsius) = vessel.water {
        let water = water(builder, celsius)?;
        let less_air = Operation::sum([(Sign::Plus, water), (Sign::Minus, air)]);
        let quantity = Quantity::from(OF_WATER_LESS_AIR).of(of);
        let less_air = builder.graph.step(quantity, "g/mL", less_air)?;
        let filled = mass_of_water(builder, vessel, measured, of)?;
        let quotient = Operation::quotient([mass, less_air], [filled]);
        let quantity = Quantity::from(LESS_AIR).of(of);
        builder.graph.step(quantity, "g/mL", quotient)?
    } else {
        let one = builder.exact(ONE, Decimal::ONE);
        let weights = builder.once(OF_WEIGHTS, |b, quantity| {
            let step = b.graph.given(quantity, "g/mL", Decimal::from(WEIGHTS));
            b.graph.significant(step, None);
            step
        });
        let share = Operation::quotient([air], [weights]);
        let quantity = Quantity::from(BORNE).of(of);
        let share = builder.graph.step(quantity, "", share)?;
        let factor = Operation::sum([(Sign::Plus, one), (Sign::Minus, share)]);
        let quantity = Quantity::from(BUOYANCY).of(of);
        let factor = builder.graph.step(quantity, "", factor)?;
        let volume = builder.sample(row, of)?;
        let quotient = Operation::quotient([mass, factor], [volume]);
        let quantity = Quantity::from(LESS_AIR).of(of);
        builder.graph.step(quantity, "g/mL", quotient)?
    };
    let sum = Operation::sum([(Sign::Plus, in_air), (Sign::Plus, air)]);
    let quantity = Quantity::new(Role::Result).of(of);
    let result = builder.graph.step(quantity, "g/mL", sum)?;
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
    let quantity = Quantity::from(FULL_OF_WATER).of(of);
    let full = builder.weighing(quantity, read, balance, Load::Water, 1.0);
    // the same weighing of the empty vessel as for the liquid
    let quantity = Quantity::new(Role::MassEmpty).of(of);
    let empty = match builder.graph.find(Role::MassEmpty, of) {
        Some(id) => id,
        None => builder.weighing(quantity, empty, balance, Load::Empty, 1.0),
    };
    let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
    let quantity = Quantity::from(WATER).of(of);
    builder.graph.step(quantity, "g", terms)
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
    let quantity = Quantity::from(OF_WATER).at(celsius);
    Ok(builder.once(quantity, |builder, quantity| {
        let step = builder.graph.given(quantity, "g/mL", value);
        // the formula is good to 1 in the sixth decimal
        builder.graph.significant(step, Some(6));
        let standard = slope.abs() * rectangular(WATER_WITHIN);
        let component = Component::shared("temperature of the water", standard);
        builder.graph.uncertain(step, component);
        step
    }))
}
