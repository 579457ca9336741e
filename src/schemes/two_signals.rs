//! Two analytes from two signals that both show in: absorbances at two wavelengths, or the mass of a mixture of two and the
//! titre it takes. The two equations are linear, and solved by Cramer's rule.

use super::calibration_line::{TOP_ABSORBANCE, decimals};
use super::file::formula;
use super::parts::{
    checked, display_words, fault, kind, needs_reactions, of_titrated_sample, positive,
};
use super::{Faults, Measurement, OwnSlip, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Formula, Ratio, printed, whole_use};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, GlasswareKind, as_f64};
use crate::procedure::{
    Allowed, Asked, Common, Per, ProcedureFault, ResultUnit, Sample, SampleBy, Titrant,
};
use crate::submission::{Delivery, Titration};
use crate::text::{Section, found};
use crate::workup::{Builder, Graph, Measured, Of, StepId, Trial, Worked};
use rust_decimal::Decimal;

const MIXTURE: &str = "mixture";

/// Two signals, two analytes.
#[derive(Clone, Debug)]
pub struct TwoSignals {
    /// What is found beside the analyte.
    pub other: Formula,
    pub pair: Pair,
    pub asked: Asked,
}

#[derive(Clone, Debug)]
pub enum Pair {
    /// Absorbances at two wavelengths.
    Wavelengths {
        /// By wavelength, of the analyte and of the other, L/(mol·cm).
        absorptivities: [[Decimal; 2]; 2],
        /// Relative standard uncertainty of each, percent.
        uncertainty: Decimal,
        /// Path of the cell, cm.
        path: Decimal,
        /// The flask in which the sample is made up.
        made_up_in: Box<Glassware>,
        instrument: Box<Glassware>,
    },
    /// The mass of a sample that is nothing but the two, and the titre of it.
    MassAndTitre {
        titrant: Box<Titrant>,
        /// Titrant per analyte and per other.
        uses: [Ratio; 2],
    },
}

impl TwoSignals {
    pub const TABLES: &[(&str, &str)] =
        &[("titrant", "is a titration"), (MIXTURE, "is two-signals")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        if file.root.has("titrant") {
            let titrant = file.titrant();
            let other = file.table(MIXTURE, |section| {
                section.only(&["other"]);
                formula(&section, "other")
            });
            let (common, other) = (file.common.as_ref()?, other?);
            return file.made(Self::by_titre(common, other, titrant?));
        }
        let read = file.table(MIXTURE, |section| {
            section.only(&[
                "other",
                "first",
                "second",
                "uncertainty_percent",
                "path_cm",
                "made_up_in",
                "spectrophotometer",
            ]);
            let other = formula(&section, "other");
            let rows = [two(&section, "first"), two(&section, "second")];
            let uncertainty = section.number("uncertainty_percent");
            let path = section.number_or("path_cm", Decimal::ONE);
            let made_up_in = file.piece(&section, "made_up_in", &[GlasswareKind::Flask]);
            let kinds = [GlasswareKind::Spectrophotometer];
            let instrument = file.piece(&section, "spectrophotometer", &kinds);
            let [first, second] = rows;
            let pair = Pair::Wavelengths {
                absorptivities: [first?, second?],
                uncertainty: uncertainty?,
                path: path?,
                made_up_in: Box::new(made_up_in?),
                instrument: Box::new(instrument?),
            };
            Some((other?, pair))
        });
        let (common, (other, pair)) = (file.common.as_ref()?, read?);
        file.made(Self::by_wavelengths(common, other, pair))
    }

    pub fn by_wavelengths(common: &Common, other: Formula, pair: Pair) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: Some("none: the reference holds everything but the two"),
            titres: false,
            standard: false,
            molar_mass: false,
        });
        pair.check(&mut faults);
        let made = common.asked().map(|asked| Self { other, pair, asked });
        checked(faults, made.and_then(Self::solvable))
    }

    pub fn by_titre(common: &Common, other: Formula, titrant: Titrant) -> Result<Self, Faults> {
        let mut faults = of_titrated_sample(common, &titrant, false);
        if common.sample.by == SampleBy::Volume {
            let what =
                "found volume, expected mass or mass-difference: the mass is the second signal";
            faults.push(ProcedureFault::new("sample.by", what));
        }
        if common.result.unit == ResultUnit::MgPerPortion {
            let what = "expected a mass fraction: the sample is nothing but the two";
            faults.push(ProcedureFault::new("result.unit", what));
        }
        let made = common.asked().and_then(|asked| {
            needs_reactions(common)?;
            let uses = |species: &Formula| {
                whole_use(&common.reactions, species, &titrant.species)
                    .map_err(|why| fault("reactions", why))
            };
            let uses = [uses(&asked.analyte)?, uses(&other)?];
            let titrant = Box::new(titrant);
            let pair = Pair::MassAndTitre { titrant, uses };
            Self { other, pair, asked }.solvable()
        });
        checked(faults, made)
    }

    /// Refuses two that both signals show in the same proportion.
    fn solvable(self) -> Result<Self, Faults> {
        if self.asked.analyte == self.other {
            let what = format!(
                "found {}, expected another species than the analyte",
                self.other
            );
            return Err(fault("mixture.other", what));
        }
        if self.condition() > MOST_CONDITION {
            let what = "found two that both signals show in nearly the same proportion, expected them to differ";
            return Err(fault(MIXTURE, what));
        }
        Ok(self)
    }

    /// What one unit of analyte and of other give of each signal.
    pub(super) fn matrix(&self) -> [[f64; 2]; 2] {
        match &self.pair {
            Pair::Wavelengths { absorptivities, .. } => absorptivities.map(|row| row.map(as_f64)),
            Pair::MassAndTitre { uses, .. } => {
                let of = |species: &Formula| as_f64(species.molar_mass().value);
                let uses = uses.map(|ratio| {
                    let (over, under) = ratio.parts();
                    as_f64(over) / as_f64(under)
                });
                [uses, [of(&self.asked.analyte), of(&self.other)]]
            }
        }
    }

    /// Condition number of the two equations, each brought to length one: by how much, at most, relative errors of the
    /// signals grow.
    fn condition(&self) -> f64 {
        let [[a, b], [c, d]] = self.matrix();
        let cosine = ((a * c + b * d) / (a.hypot(b) * c.hypot(d))).abs();
        ((1.0 + cosine) / (1.0 - cosine)).sqrt()
    }
}

/// Beyond that no reading is good enough.
const MOST_CONDITION: f64 = 1e4;

/// Two numbers.
fn two(section: &Section, key: &'static str) -> Option<[Decimal; 2]> {
    let list = decimals(section, key)?;
    let two = <[Decimal; 2]>::try_from(list);
    two.map_err(|list| {
        let what = found(
            &list.len().to_string(),
            "two absorptivities, of the analyte and of the other",
        );
        section.fault(key, what);
    })
    .ok()
}

impl Pair {
    fn check(&self, faults: &mut Faults) {
        let Self::Wavelengths {
            absorptivities,
            uncertainty,
            path,
            made_up_in,
            instrument,
        } = self
        else {
            return;
        };
        for (key, row) in ["mixture.first", "mixture.second"]
            .iter()
            .zip(absorptivities)
        {
            if row.iter().any(|one| one.is_sign_negative()) {
                let what = "found a negative absorptivity, expected 0 or more";
                faults.push(ProcedureFault::new(*key, what));
            }
        }
        if uncertainty.is_sign_negative() {
            let what = format!("found {uncertainty}, expected 0 or more");
            faults.push(ProcedureFault::new("mixture.uncertainty_percent", what));
        }
        positive("mixture.path_cm", *path, faults);
        let (flask, meter) = ([GlasswareKind::Flask], [GlasswareKind::Spectrophotometer]);
        kind("mixture.made_up_in", made_up_in, &flask, faults);
        kind("mixture.spectrophotometer", instrument, &meter, faults);
    }
}

impl SchemeRules for TwoSignals {
    fn words(&self) -> &'static str {
        match self.pair {
            Pair::Wavelengths { .. } => "two analytes from absorbances at two wavelengths",
            Pair::MassAndTitre { .. } => "two analytes from a mass and a titre",
        }
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let condition = (
            "Condition number",
            format!(
                "{:.1}: relative errors of the two signals grow so many times at most",
                self.condition()
            ),
        );
        let signals = match &self.pair {
            Pair::Wavelengths {
                absorptivities: [[a, b], [c, d]],
                uncertainty,
                path,
                made_up_in,
                instrument,
            } => {
                let (analyte, other) = (
                    printed(&self.asked.analyte.to_string()),
                    printed(&self.other.to_string()),
                );
                let words = format!(
                    "{a} and {c} L/(mol\u{b7}cm) of {analyte}, {b} and {d} of {other}, each with a standard uncertainty of {uncertainty} %; {path} cm, made up in a {}, read on a {}",
                    made_up_in.title(),
                    instrument.title()
                );
                ("Absorptivities", words)
            }
            Pair::MassAndTitre { titrant, .. } => titrant.fact(),
        };
        vec![signals, condition]
    }

    fn instruments(&self) -> Message {
        match &self.pair {
            Pair::Wavelengths { instrument, .. } => {
                message!(
                    "instruments.absorbance-two",
                    piece = display_words(instrument)
                )
            }
            Pair::MassAndTitre { titrant, .. } => titrant.burette_words(),
        }
    }

    fn ratio_words(&self) -> String {
        let (analyte, other) = (&self.asked.analyte, &self.other);
        let signals = match &self.pair {
            Pair::Wavelengths { .. } => format!("{analyte} beside {other}"),
            Pair::MassAndTitre { titrant, uses } => {
                let titrant = &titrant.species;
                format!(
                    "{} {titrant} per {analyte}, {} per {other}",
                    uses[0], uses[1]
                )
            }
        };
        format!("{signals}; condition number {:.1}", self.condition())
    }

    fn asked(&self) -> Option<&Asked> {
        Some(&self.asked)
    }

    fn reagents(&self) -> Reagents<'_> {
        match &self.pair {
            Pair::Wavelengths { .. } => Reagents::default(),
            Pair::MassAndTitre { titrant, .. } => Reagents::of_titration(titrant),
        }
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        match &mut self.pair {
            Pair::Wavelengths { .. } => Vec::new(),
            Pair::MassAndTitre { titrant, .. } => vec![&mut titrant.burette],
        }
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        let other = self.other.clone();
        match &self.pair {
            Pair::Wavelengths { .. } => Self::by_wavelengths(common, other, self.pair.clone()),
            Pair::MassAndTitre { titrant, .. } => {
                Self::by_titre(common, other, titrant.as_ref().clone())
            }
        }
        .map(Scheme::TwoSignals)
    }

    fn tells_apart(&self) -> bool {
        matches!(self.pair, Pair::MassAndTitre { .. })
    }

    fn columns(&self, fillings: usize) -> Vec<Column> {
        match self.pair {
            Pair::Wavelengths { .. } => vec![Column::Absorbance, Column::SecondAbsorbance],
            Pair::MassAndTitre { .. } => Column::of_burette(Delivery::First, fillings).collect(),
        }
    }

    fn instrument(&self) -> &Glassware {
        match &self.pair {
            Pair::Wavelengths { instrument, .. } => instrument,
            Pair::MassAndTitre { titrant, .. } => &titrant.burette,
        }
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        match self.pair {
            Pair::Wavelengths { .. } => Ok(Measured::default()),
            Pair::MassAndTitre { .. } => builder.titre(row, of),
        }
    }

    fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        match &self.pair {
            Pair::Wavelengths { .. } => self.slips_with_absorbances(graph),
            Pair::MassAndTitre { uses, .. } => self.slips_with_a_titre(graph, uses),
        }
    }

    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        match &self.pair {
            Pair::Wavelengths { .. } => self.by_absorbances(builder, trial),
            Pair::MassAndTitre { titrant, uses } => {
                self.by_mass_and_titre(builder, trial, titrant, uses)
            }
        }
    }

    fn signal(&self, sample: &Sample) -> Signal {
        match &self.pair {
            // from a sample that is all the other to one that is all analyte
            Pair::MassAndTitre { titrant, .. } => {
                let [[analyte, other], [of_analyte, of_other]] = self.matrix();
                let part = sample.aliquot.as_ref().map_or(1.0, |aliquot| {
                    as_f64(aliquot.pipette.capacity()) / as_f64(aliquot.flask.capacity())
                });
                let mass = 1000.0 * as_f64(sample.nominal) * part / as_f64(titrant.nominal);
                Signal {
                    least: mass * other / of_other,
                    full: mass * analyte / of_analyte,
                    scale: "what a mixture of the two takes",
                    ..titrant.signal()
                }
            }
            Pair::Wavelengths { .. } => Signal {
                name: "absorbance",
                unit: "",
                least: 0.0,
                full: TOP_ABSORBANCE,
                scale: "what is read well",
                blank: None,
                inverse: false,
                bent: false,
                of_vessel: false,
            },
        }
    }

    /// Two absorbances are those of a mixture in which each absorbs as much at its own wavelength as the other does; the
    /// larger is the signal.
    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let Pair::Wavelengths { .. } = &self.pair else {
            return Some(vec![Measurement::Deliver(Delivery::First, signal)]);
        };
        let [[own, _], [_, others]] = self.matrix();
        let per_analyte = if others > 0.0 { own / others } else { 1.0 };
        let shown = self
            .matrix()
            .map(|[analyte, other]| analyte + per_analyte * other);
        let [first, second] = shown;
        let most = first.max(second);
        Some(vec![
            Measurement::Display(Column::Absorbance, signal * first / most),
            Measurement::Display(Column::SecondAbsorbance, signal * second / most),
        ])
    }
}
