//! The one place that rounds. Ties go away from zero.

use rust_decimal::{Decimal, RoundingStrategy};

/// Rounds to a number of decimals, half away from zero; trailing zeros are kept to that place.
pub fn to_decimals(value: Decimal, decimals: u32) -> Decimal {
    let mut rounded =
        value.round_dp_with_strategy(decimals, RoundingStrategy::MidpointAwayFromZero);
    rounded.rescale(decimals);
    rounded
}

/// Rounds to a number of significant figures, half away from zero.
///
/// Figures before the decimal point are never dropped into an exponent: 1234 to two figures is 1200.
pub fn to_figures(value: Decimal, figures: u32) -> Decimal {
    if value.is_zero() || figures == 0 {
        return value;
    }
    let magnitude = order_of_magnitude(value);
    let decimals = i64::from(figures)
        .saturating_sub(1)
        .saturating_sub(magnitude);
    match u32::try_from(decimals) {
        Ok(decimals) => {
            let decimals = decimals.min(Decimal::MAX_SCALE);
            let rounded = to_decimals(value, decimals);
            // 9.99 to two figures is 10, not 10.0
            if order_of_magnitude(rounded) > magnitude && decimals > 0 {
                to_decimals(rounded, decimals.saturating_sub(1))
            } else {
                rounded
            }
        }
        Err(_) => {
            let place = u32::try_from(decimals.unsigned_abs()).unwrap_or(Decimal::MAX_SCALE);
            let unit = (0..place).try_fold(Decimal::ONE, |unit, _| unit.checked_mul(Decimal::TEN));
            unit.and_then(|unit| to_decimals(value.checked_div(unit)?, 0).checked_mul(unit))
                .unwrap_or(value)
        }
    }
}

/// A decimal without trailing zeros, never in exponent form.
pub fn plain(value: Decimal) -> String {
    value.normalize().to_string()
}

/// A decimal as a double, the nearest one for up to 15 figures and within two units of its last place beyond: for
/// statistics and sensitivities, never for a result or a mark.
pub fn as_f64(value: Decimal) -> f64 {
    let power = POWERS.get(value.scale() as usize);
    power.map_or(f64::NAN, |power| value.mantissa() as f64 / power)
}

/// Powers of ten for every scale a decimal has.
const POWERS: [f64; 29] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22, 1e23, 1e24, 1e25, 1e26, 1e27, 1e28,
];

/// A double as the decimal of so many significant figures, at most 15; none if it is not finite or out of range.
pub fn from_f64(value: f64, figures: usize) -> Option<Decimal> {
    // below the last decimal there is nothing left to write
    if value.abs() < 1e-27 {
        return Some(Decimal::ZERO);
    }
    if !value.is_finite() || value.abs() >= 7.9e28 {
        return None;
    }
    let places = figures.clamp(1, 15) as f64 - 1.0 - value.abs().log10().floor();
    let scale = places.clamp(0.0, f64::from(Decimal::MAX_SCALE)) as usize;
    let whole = if places < 0.0 {
        // figures left of the decimal point are rounded off as zeros
        let unit = POWERS.get(-places as usize)?;
        (value / unit).round() * unit
    } else {
        (value * POWERS.get(scale)?).round()
    };
    let number = Decimal::try_from_i128_with_scale(whole as i128, u32::try_from(scale).ok()?);
    Some(number.ok()?.normalize())
}

/// The power of ten of the first significant figure: 2 for 123, −3 for 0.00123.
pub fn order_of_magnitude(value: Decimal) -> i64 {
    let digits = value
        .mantissa()
        .unsigned_abs()
        .checked_ilog10()
        .unwrap_or(0);
    i64::from(digits).saturating_sub(i64::from(value.scale()))
}
