//! Units: each step's follows from those of the steps it uses.
//!
//! A unit is powers of mol, g and L with a scale. A factor between two units, such as “mg per g”, carries its own unit
//! and has to be one when that is taken into account, so that no factor of 1000 can stand where it does not belong.

use concordant::workup::{Graph, Operation, Step, StepId};

use super::stations;
use crate::reference::f;

/// scale × mol^a g^b L^c
#[derive(Clone, Copy, Debug, PartialEq)]
struct Unit {
    scale: f64,
    powers: [i32; 3],
}

const NUMBER: Unit = Unit {
    scale: 1.0,
    powers: [0; 3],
};
const MOL: Unit = Unit {
    scale: 1.0,
    powers: [1, 0, 0],
};
const GRAM: Unit = Unit {
    scale: 1.0,
    powers: [0, 1, 0],
};
const LITRE: Unit = Unit {
    scale: 1.0,
    powers: [0, 0, 1],
};

impl Unit {
    fn milli(self) -> Self {
        self.times(0.001)
    }

    fn times(self, scale: f64) -> Self {
        Self {
            scale: self.scale * scale,
            ..self
        }
    }

    fn by(self, other: Self) -> Self {
        Self {
            scale: self.scale * other.scale,
            powers: [0, 1, 2].map(|i| self.powers[i] + other.powers[i]),
        }
    }

    fn per(self, other: Self) -> Self {
        Self {
            scale: self.scale / other.scale,
            powers: [0, 1, 2].map(|i| self.powers[i] - other.powers[i]),
        }
    }

    fn is(self, other: Self) -> bool {
        self.powers == other.powers && (self.scale / other.scale - 1.0).abs() < 1e-12
    }

    fn named(name: &str) -> Self {
        match name {
            "" => NUMBER,
            "mL" => LITRE.milli(),
            "mmol" => MOL.milli(),
            "g" => GRAM,
            "mg" => GRAM.milli(),
            "mol/L" => MOL.per(LITRE),
            "mmol/L" => MOL.milli().per(LITRE),
            "L/mol" => LITRE.per(MOL),
            // centimetres are set to one, on both sides
            "cm" => NUMBER,
            "L/(mol\u{b7}cm)" => LITRE.per(MOL),
            "L\u{b2}/(mol\u{b2}\u{b7}cm\u{b2})" => LITRE.per(MOL).by(LITRE.per(MOL)),
            "L\u{b2}/mol\u{b2}" => LITRE.per(MOL).by(LITRE.per(MOL)),
            "g/mol" => GRAM.per(MOL),
            "g/L" => GRAM.per(LITRE),
            "mg/L" => GRAM.milli().per(LITRE),
            "g/mL" => GRAM.per(LITRE.milli()),
            "mg/portion" => GRAM.milli(),
            "mol/mol" => NUMBER,
            // what a meter shows has a dimension of its own, and is set to one
            "mV" | "mS" => NUMBER,
            "mV/mL" | "mS/mL" | "1/mL" => NUMBER.per(LITRE.milli()),
            "mV/mL\u{b2}" | "1/mL\u{b2}" => NUMBER.per(LITRE.milli()).per(LITRE.milli()),
            "mV/mL\u{b3}" | "1/mL\u{b3}" => {
                let per = NUMBER.per(LITRE.milli());
                per.per(LITRE.milli()).per(LITRE.milli())
            }
            "%w/w" => NUMBER.times(0.01),
            // g in 100 mL
            "%w/v" => GRAM.per(LITRE.times(0.1)),
            other => panic!("the unit {other} is not known here"),
        }
    }
}

/// The unit of a factor between two units; none of any other number.
fn factor(label: &str) -> Option<Unit> {
    let milligram_per_gram = GRAM.milli().per(GRAM);
    match label {
        "mg per g" => Some(milligram_per_gram),
        "mmol per mol" => Some(MOL.milli().per(MOL)),
        "percent per mg/g" => Some(Unit::named("%w/w").per(milligram_per_gram)),
        "g per 100 mL, per mg/mL" => {
            let per_volume = GRAM.milli().per(LITRE.milli());
            Some(Unit::named("%w/v").per(per_volume))
        }
        _ => None,
    }
}

/// What is wrong with the unit of a step.
fn fault(graph: &Graph, step: &Step) -> Option<String> {
    let unit_of = |id: StepId| {
        let step = graph.get(id);
        factor(&step.quantity.label()).unwrap_or_else(|| Unit::named(step.unit))
    };
    let product = |ids: &[StepId]| {
        ids.iter()
            .fold(NUMBER, |product, id| product.by(unit_of(*id)))
    };
    let label = step.quantity.label();
    let stated = Unit::named(step.unit);
    let alike = |ids: &[StepId]| {
        let other = ids.iter().find(|id| !unit_of(**id).is(stated));
        other.map(|id| format!("{label} in {} from {}", step.unit, graph.get(*id).unit))
    };
    let follows = match &step.operation {
        Operation::Given => {
            let one = factor(&label)?.times(f(step.value));
            return (!one.is(NUMBER)).then(|| format!("{label} is {}, and not one", step.value));
        }
        Operation::Sum(terms) => {
            return alike(&terms.iter().map(|(_, id)| *id).collect::<Vec<_>>());
        }
        Operation::Mean(ids) => return alike(ids),
        Operation::Quotient(over, under) => product(over).per(product(under)),
        // a power of ten has no unit, and neither has what it is raised to
        Operation::TenTo(_, id) => match unit_of(*id).is(NUMBER) {
            true => NUMBER,
            false => return Some(format!("{label}: ten to the power of a unit")),
        },
        Operation::Slope { x, y } => unit_of(y[0]).per(unit_of(x[0])),
        Operation::Coefficient(power, fit) => {
            let below = (0..*power).map(|_| unit_of(fit.x[0]));
            unit_of(fit.y[0]).per(below.fold(NUMBER, Unit::by))
        }
        Operation::Root {
            square,
            linear,
            value,
        } => {
            let root = unit_of(*value).per(unit_of(*linear));
            let squared = unit_of(*linear).per(root);
            if !unit_of(*square).is(squared) {
                return Some(format!("{label}: {squared:?} expected of the square"));
            }
            root
        }
    };
    (!follows.is(stated)).then(|| format!("{label} in {}, but {follows:?} follows", step.unit))
}

#[test]
fn units_follow_from_units() {
    let mut steps = 0;
    for station in stations() {
        let done = station.work_up(&station.hand_in(1, 3));
        assert!(done.result.is_some(), "{}", station.name);
        for (_, step) in done.graph.steps() {
            if let Some(what) = fault(&done.graph, step) {
                panic!("{}: {what}", station.name);
            }
            steps += 1;
        }
    }
    println!("{steps} units checked");
    assert!(steps > 700, "{steps}");
}

/// The check itself: what does not follow is found.
#[test]
fn a_wrong_unit_is_found() {
    let mut graph = Graph::default();
    let mut given = |name, unit, value: i64| graph.given((name, name), unit, value.into());
    let volume = given("volume", "mL", 20);
    let mass = given("mass", "g", 2);
    let thousand = given("mg per g", "", 1000);
    let hundred = given("mmol per mol", "", 100);
    let molar_mass = given("molar mass", "g/mol", 40);
    let mut step = |unit, operation| graph.step(("step", "s"), unit, operation).expect("a value");
    let product = |ids: &[StepId]| Operation::product(ids.iter().copied());
    let right = step("mg", product(&[mass, thousand]));
    let no_factor = step("mg", product(&[mass]));
    let wrong_dimension = step("mL", product(&[mass, thousand]));
    let without = step("mmol", Operation::quotient([mass], [molar_mass]));
    let mixed = step("mL", Operation::mean([volume, mass]));
    let found = |id: StepId| fault(&graph, graph.get(id)).is_some();
    assert!(!found(right) && !found(thousand));
    for wrong in [no_factor, wrong_dimension, without, mixed, hundred] {
        assert!(found(wrong), "{}", graph.get(wrong).quantity.label());
    }
}
