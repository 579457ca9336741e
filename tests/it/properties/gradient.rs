//! The gradient of the graph against central differences of the graph itself.

use rust_decimal::Decimal;

use super::{long, stations};
use crate::reference::f;

/// ∂result/∂step, for every step, given or computed, of every procedure.
#[test]
fn sensitivities_are_central_differences() {
    let seeds = if long() { 0..20 } else { 0..2 };
    let mut steps = 0;
    for station in stations() {
        for seed in seeds.clone() {
            let done = station.work_up(&station.hand_in(seed, 3));
            let result = done.result.expect(&station.name);
            let by = done.graph.sensitivities(result);
            for (id, step) in done.graph.steps().take(by.len()) {
                let x = done.graph.value(id);
                // decimals keep 28 figures, so that a small step loses none
                let h = if x.is_zero() {
                    Decimal::new(1, 10)
                } else {
                    (x * Decimal::new(1, 8)).abs()
                };
                let at = |x| done.graph.value_with(result, &[(id, x)]).expect("a value");
                let slope = f(at(x + h) - at(x - h)) / (2.0 * f(h));
                let found = by[id.place()];
                let off = (found - slope).abs();
                // concentrations of standards leave 18 figures of the 28 for their squares
                let noise = 1e-17 * f(done.graph.value(result)).abs() / f(h);
                assert!(
                    off <= 1e-8 * slope.abs() + noise,
                    "{}, seed {seed}, {}: {found:e}, by differences {slope:e}",
                    station.name,
                    step.quantity.label(),
                );
                steps += 1;
            }
        }
    }
    println!("{steps} sensitivities compared");
    assert!(steps > 1500, "{steps}");
}
