//! Density: the content of a vessel is weighed; its volume is the vessel's nominal one, one that is read, or that of the
//! water that fills it.

use super::parts::{checked, content, display_words, kind};
use super::{Faults, Measurement, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{
    Glassware, GlasswareKind, Weighing, as_f64, from_f64, water_density, water_density_slope,
};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample, SampleBy};
use crate::submission::Titration;
use crate::workup::{
    Builder, Component, Load, Measured, Of, Operation, Own, Quantity, Role, Sign, StepId, Trial,
    WorkUpError, Worked, rectangular,
};
use rust_decimal::Decimal;

const LIQUID: Own = Own::new("step.mass-of-liquid", "m");
const OF_AIR: Own = Own::new("step.density-of-air", "\u{3c1}a");
const OF_WATER: Own = Own::new("step.density-of-water", "\u{3c1}w");
const OF_WATER_LESS_AIR: Own = Own::new("step.density-water-less-air", "\u{3c1}w\u{2032}");
const LESS_AIR: Own = Own::new("step.density-less-air", "\u{3c1}\u{2032}");
const ONE: Own = Own::new("step.unity", "1");
const OF_WEIGHTS: Own = Own::new("step.density-of-weights", "\u{3c1}s");
const BORNE: Own = Own::new("step.air-borne", "b");
const BUOYANCY: Own = Own::new("step.buoyancy", "K");
const FULL_OF_WATER: Own = Own::new("step.full-of-water", "gw");
const WATER: Own = Own::new("step.mass-of-water", "mw");

/// Density of air, g/mL, at 20 °C and sea level, and how far weather and height may take it, rectangular (common
/// practice).
const AIR: (i64, f64) = (12, 0.000_1);
/// Density to which balances are adjusted, g/mL (OIML D 28: conventional mass).
const WEIGHTS: i64 = 8;
/// How well the temperature of the water is known, °C, rectangular (common practice).
const WATER_WITHIN: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

/// From the mass of a volume.
#[derive(Clone, Debug)]
pub struct Density {
    pub balance: Glassware,
    /// Temperature of the water the vessel is calibrated with, °C; none if its nominal volume is used.
    pub water: Option<Decimal>,
}

impl Density {
    pub const TABLES: &[(&str, &str)] = &[("density", "is density")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let density = file.table("density", |section| {
            section.only(&["balance", "water_C"]);
            let balance = file.piece(&section, "balance", &[GlasswareKind::Balance]);
            let water = if section.has("water_C") {
                section.number("water_C").map(Some)
            } else {
                Some(None)
            };
            Some(Self {
                balance: balance?,
                water: water?,
            })
        });
        let common = file.common.as_ref()?;
        file.made(density?.checked(common))
    }

    fn checked(self, common: &Common) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Density,
            no_blank: Some("none: air is all that is in an empty vessel"),
            titres: false,
            standard: false,
            molar_mass: false,
        });
        let mut fault = |key: &str, what: String| faults.push(ProcedureFault::new(key, what));
        let sample = &common.sample;
        let weighed = sample.by != SampleBy::Volume;
        if weighed || sample.aliquot.is_some() {
            let (key, found) = if weighed {
                ("sample.by", sample.by.name())
            } else {
                ("sample.made_up_in", "one")
            };
            let expected = "the volume of the vessel that is weighed, undiluted";
            fault(key, format!("found {found}, expected {expected}"));
        }
        if common.result.analyte.is_some() {
            let what = "found one, expected none: a density is of the whole liquid";
            fault("result.analyte", what.to_owned());
        }
        let liquid = Decimal::ZERO..=Decimal::from(40);
        if let Some(found) = self.water.filter(|t| !liquid.contains(t)) {
            let what = format!("found {found}, expected 0 to 40 \u{b0}C");
            fault("density.water_C", what);
        }
        let balance = [GlasswareKind::Balance];
        kind("density.balance", &self.balance, &balance, &mut faults);
        checked(faults, Ok(self))
    }
}

impl SchemeRules for Density {
    fn words(&self) -> &'static str {
        "density: a volume is weighed"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let volume = match self.water {
            Some(celsius) => format!("its volume by water at {celsius} \u{b0}C"),
            None => "its nominal volume".to_owned(),
        };
        let words = format!("{volume}, on a {}", self.balance.title());
        vec![("Vessel", words)]
    }

    fn instruments(&self) -> Message {
        let piece = display_words(&self.balance);
        match self.water {
            Some(celsius) => {
                message!(
                    "instruments.density-water",
                    celsius = celsius,
                    piece = piece
                )
            }
            None => message!("instruments.density", piece = piece),
        }
    }

    fn ratio_words(&self) -> String {
        "none: a mass over a volume".to_owned()
    }

    fn asked(&self) -> Option<&Asked> {
        None
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::default()
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        Vec::new()
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        self.clone().checked(common).map(Scheme::Density)
    }

    fn tells_apart(&self) -> bool {
        false
    }

    fn columns(&self, _: usize) -> Vec<Column> {
        let water = self.water.map(|_| Column::VesselWater);
        let mut columns = vec![Column::Vessel];
        columns.extend(water);
        columns.push(Column::VesselFull);
        columns
    }

    fn instrument(&self) -> &Glassware {
        &self.balance
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let columns = (Column::Vessel, Column::VesselFull);
        let mass = content(builder, row, columns, &self.balance, (LIQUID, of))?;
        Ok(Measured::one(mass, Role::Own(LIQUID)))
    }

    /// By volume: ρ = m · (1 − ρ_air/8.0) / V + ρ_air. By water: ρ = (m / m_w) · (ρ_w − ρ_air) + ρ_air. Both allow for
    /// the buoyancy of air.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let of = trial.of;
        let mass = trial.signal("step.mass-of-liquid")?;
        let air = builder.once(OF_AIR, |builder, air| {
            let step = builder.graph.given(air, "g/mL", Decimal::new(AIR.0, 4));
            let component = Component::shared("cause.density-of-air", AIR.1 / 3f64.sqrt());
            builder.graph.uncertain(step, component);
            step
        });
        let in_air = if let Some(celsius) = self.water {
            let water = density_of_water(builder, celsius)?;
            let less_air = Operation::sum([(Sign::Plus, water), (Sign::Minus, air)]);
            let quantity = Quantity::from(OF_WATER_LESS_AIR).of(of);
            let less_air = builder.graph.step(quantity, "g/mL", less_air)?;
            let filled = self.mass_of_water(builder, trial)?;
            Operation::quotient([mass, less_air], [filled])
        } else {
            let one = builder.exact(ONE, Decimal::ONE);
            let weights = builder.once(OF_WEIGHTS, |builder, quantity| {
                let weights = Decimal::from(WEIGHTS);
                let step = builder.graph.given(quantity, "g/mL", weights);
                builder.graph.significant(step, None);
                step
            });
            let share = Operation::quotient([air], [weights]);
            let quantity = Quantity::from(BORNE).of(of);
            let share = builder.graph.step(quantity, "", share)?;
            let factor = Operation::sum([(Sign::Plus, one), (Sign::Minus, share)]);
            let quantity = Quantity::from(BUOYANCY).of(of);
            let factor = builder.graph.step(quantity, "", factor)?;
            let volume = builder.sample(trial.row.titration, of)?;
            Operation::quotient([mass, factor], [volume])
        };
        let quantity = Quantity::from(LESS_AIR).of(of);
        let in_air = builder.graph.step(quantity, "g/mL", in_air)?;
        let sum = Operation::sum([(Sign::Plus, in_air), (Sign::Plus, air)]);
        let quantity = Quantity::new(Role::Result).of(of);
        let result = builder.graph.step(quantity, "g/mL", sum)?;
        builder.repeatable(result);
        Ok(result)
    }

    fn signal(&self, sample: &Sample) -> Signal {
        Signal {
            name: "liquid",
            unit: "g",
            least: 0.0,
            full: 2.0 * as_f64(sample.nominal),
            scale: "twice the mass of water",
            blank: None,
            inverse: false,
            bent: false,
            of_vessel: true,
        }
    }

    fn measurements(&self, signal: f64, volume: f64) -> Option<Vec<Measurement>> {
        let mut measured = vec![Measurement::Weigh {
            empty: Column::Vessel,
            full: Column::VesselFull,
            content: signal,
            tare: (20.0, 30.0),
        }];
        if let Some(celsius) = self.water {
            let apparent = Weighing::default().z_factor(as_f64(celsius))?;
            measured.push(Measurement::WeighAgain {
                empty: Column::Vessel,
                full: Column::VesselWater,
                content: volume / apparent,
            });
        }
        Some(measured)
    }
}

impl Density {
    fn mass_of_water<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let missing = || trial.missing("step.mass-of-water", "why.no-reading");
        let read = Column::VesselWater.get(trial.row.titration);
        let read = read.ok_or_else(missing)?;
        let quantity = Quantity::from(FULL_OF_WATER).of(trial.of);
        let full = builder.weighing(quantity, read, &self.balance, Load::Water, 1.0);
        // the same weighing of the empty vessel as for the liquid
        let empty = builder.graph.find(Role::MassEmpty, trial.of);
        let empty = empty.ok_or_else(missing)?;
        let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
        let quantity = Quantity::from(WATER).of(trial.of);
        builder.graph.step(quantity, "g", terms)
    }
}

fn density_of_water(builder: &mut Builder, celsius: Decimal) -> Worked<StepId> {
    let at = as_f64(celsius);
    let value = water_density(at).and_then(|density| from_f64(density, 15));
    let (value, slope) = value
        .zip(water_density_slope(at))
        .ok_or_else(|| WorkUpError {
            label: Message::new("step.density-of-water"),
            what: "why.not-liquid",
        })?;
    let quantity = Quantity::from(OF_WATER).at(celsius);
    Ok(builder.once(quantity, |builder, quantity| {
        let step = builder.graph.given(quantity, "g/mL", value);
        // the formula is good to 1 in the sixth decimal
        builder.graph.significant(step, Some(6));
        let standard = slope.abs() * rectangular(WATER_WITHIN);
        let component = Component::shared("cause.water-temperature", standard);
        builder.graph.uncertain(step, component);
        step
    }))
}
