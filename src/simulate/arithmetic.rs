//! The sum that a student does on paper, and the ways in which it goes wrong.
//!
//! It is written as a textbook has it, in plain numbers and apart from the work-up, so that what the judgement makes of a
//! wrong answer is tried on answers that the judgement had no part in.

use rand::seq::IndexedRandom;
use rand::{Rng, RngExt};

use super::calibration::{by_elimination, extrapolated, read_off};
use super::curve::equivalence;
use super::mistakes::Mistake;
use super::way::{Way, content, part, volume};
use crate::chem::Formula;
use crate::columns::Column;
use crate::judge::Case;
use crate::measure::{Reading, as_f64, from_f64, to_figures, water_density};
use crate::procedure::{Asked, Procedure, ResultUnit, SampleBy};
use crate::schemes::{
    Back, CalibrationLine, Density, Direct, Gravimetric, Pair, Portion, Scheme, StandardAddition,
    Standardisation, TwoEndpoint,
};
use crate::submission::{Delivery, HandIn, Titration, TrialLabel};
use crate::truth::Lot;

/// What a student calculates from.
pub struct Notebook<'a> {
    procedure: &'a Procedure,
    hand_in: &'a HandIn,
    /// Molarity on the titrant's or the stock's bottle, mol/L.
    molarity: Option<f64>,
    /// The same of the excess reagent.
    excess_molarity: Option<f64>,
    /// The trials that the student takes the mean of: those that agree.
    counted: Vec<TrialLabel>,
}

/// Figures to which an answer is written (common practice: one more than a burette gives).
const ANSWER_FIGURES: u32 = 5;

impl<'a> Notebook<'a> {
    /// With the lots that the first row names, or those of the section.
    pub fn of(case: &Case<'a>) -> Self {
        let work_up = case.work_up();
        let counted = work_up.trials.iter().filter(|trial| trial.counted);
        let row = case.hand_in.titrations.first();
        let (lot, excess) = row.map(|row| case.lots_of(row)).unwrap_or_default();
        let molarity = |lot: Option<&Lot>| lot.map(|lot| as_f64(lot.molarity.value));
        Self {
            procedure: case.procedure,
            hand_in: case.hand_in,
            molarity: molarity(lot),
            excess_molarity: molarity(excess),
            counted: counted.map(|trial| trial.trial).collect(),
        }
    }

    /// The answer as the student writes it; none where nothing can be calculated, or the mistake changes nothing.
    pub fn answer(&self, mistake: Option<Mistake>, rng: &mut impl Rng) -> Option<Reading> {
        let counted = self.counted.clone();
        let right = self.mean(&Way::default(), &counted)?;
        let value = match mistake {
            None => right,
            Some(mistake) => {
                let trials = self.trials(mistake, counted, rng)?;
                self.mean(&self.way(mistake, &trials, rng)?, &trials)?
            }
        };
        let answer = self.written(value)?;
        if mistake.is_some() && self.written(right)?.value() == answer.value() {
            return None;
        }
        Some(answer)
    }

    /// What each numbered trial alone comes to.
    pub(super) fn results(&self) -> Vec<(u32, f64)> {
        let rows = self.hand_in.numbered();
        let result = |(trial, row)| Some((trial, self.result(&Way::default(), row)?));
        rows.filter_map(result).collect()
    }

    fn written(&self, value: f64) -> Option<Reading> {
        let value =
            from_f64(value, 12).filter(|value| value.is_sign_positive() && !value.is_zero())?;
        Reading::parse_answer(&to_figures(value, ANSWER_FIGURES).to_string()).ok()
    }

    /// The rows that are averaged.
    fn trials(
        &self,
        mistake: Mistake,
        counted: Vec<TrialLabel>,
        rng: &mut impl Rng,
    ) -> Option<Vec<TrialLabel>> {
        match mistake {
            Mistake::OneTrialOnly => counted.choose(rng).map(|one| vec![*one]),
            Mistake::RoughIncluded => {
                let rows = self.hand_in.titrations.iter().map(|row| row.trial);
                let more = rows.filter(|trial| {
                    *trial == TrialLabel::Rough
                        || trial.number().is_some() && !counted.contains(trial)
                });
                let one = more.collect::<Vec<_>>().choose(rng).copied()?;
                Some(counted.into_iter().chain([one]).collect())
            }
            _ => Some(counted),
        }
    }

    fn way(&self, mistake: Mistake, trials: &[TrialLabel], rng: &mut impl Rng) -> Option<Way> {
        let mut way = Way::default();
        match mistake {
            Mistake::EndNotDifference => way.ends = Some(None),
            Mistake::StartNotZeroIgnored => way.ends = Some(Some(*trials.choose(rng)?)),
            Mistake::MillilitresAsLitres => {
                self.procedure.burette()?;
                way.thousands = if rng.random() { 1 } else { -1 };
            }
            Mistake::RatioInverted | Mistake::RatioIgnored => {
                let back = self.procedure.excess().is_some();
                let place = usize::from(back && rng.random());
                way.ratio = Some((place, mistake == Mistake::RatioInverted));
            }
            Mistake::VolumesExchanged => {
                way.exchanged = self.procedure.sample.by == SampleBy::Volume
            }
            Mistake::NominalMolarity => {
                way.excess_nominal = self.procedure.excess().is_some() && rng.random();
                way.nominal = !way.excess_nominal;
            }
            Mistake::BothNominal => {
                self.procedure.excess()?;
                (way.nominal, way.excess_nominal) = (true, true);
            }
            Mistake::DilutionOmitted => way.no_dilution = true,
            Mistake::BlankOmitted => way.no_blank = true,
            Mistake::BackNotSubtracted => way.left_over = true,
            Mistake::WrongSpecies => way.molar_mass = Some(self.other_species(rng)?),
            Mistake::UnitSlip => way.power = *[-3, -2, -1, 1, 2, 3].choose(rng)?,
            Mistake::RoundedEarly => way.figures = Some(rng.random_range(2..=3)),
            _ => {}
        }
        Some(way)
    }

    /// Molar mass of a species of the reactions that shares an element with what is asked for or weighed, or of the
    /// analyte itself.
    fn other_species(&self, rng: &mut impl Rng) -> Option<f64> {
        let asked = self.procedure.scheme.asked()?;
        let (analyte, right) = match &self.procedure.scheme {
            Scheme::Standardisation(scheme) => (&scheme.weighed, &scheme.weighed),
            Scheme::Direct(_)
            | Scheme::Indirect(_)
            | Scheme::Back(_)
            | Scheme::TwoEndpoint(_)
            | Scheme::Gravimetric(_)
            | Scheme::Heating(_)
            | Scheme::Density(_)
            | Scheme::CalibrationLine(_)
            | Scheme::StandardAddition(_)
            | Scheme::TwoSignals(_)
            | Scheme::Curve(_) => (&asked.analyte, &asked.expressed_as),
        };
        let is_kin = |species: &&Formula| {
            let mut atoms = analyte.atoms().keys();
            atoms.any(|symbol| {
                !matches!(*symbol, "H" | "O" | "C") && species.atoms().contains_key(symbol)
            })
        };
        let mass = |species: &Formula| as_f64(species.molar_mass().value);
        let reacting = self.procedure.reactions.iter().flat_map(|r| r.species());
        let others = reacting.filter(is_kin).chain([analyte]).map(mass);
        let others: Vec<f64> = others
            .filter(|other| (other - mass(right)).abs() > 0.01)
            .collect();
        others.choose(rng).copied()
    }

    fn mean(&self, way: &Way, trials: &[TrialLabel]) -> Option<f64> {
        let rows = self.hand_in.titrations.iter();
        let rows = rows.filter(|row| trials.contains(&row.trial));
        let results: Option<Vec<f64>> = rows.map(|row| self.result(way, row)).collect();
        let results = results.filter(|results| !results.is_empty())?;
        let mean = results.iter().sum::<f64>() / results.len() as f64;
        Some(mean * 10_f64.powi(way.power))
    }

    fn result(&self, way: &Way, row: &Titration) -> Option<f64> {
        let unless = |nominal: bool, assigned: Option<f64>, label| {
            if nominal {
                Some(as_f64(label))
            } else {
                assigned
            }
        };
        let blank = |volume: &dyn Fn(&Titration) -> Option<f64>| -> f64 {
            if way.no_blank || !self.procedure.trials.blank {
                return 0.0;
            }
            self.blank(volume).unwrap_or(0.0)
        };
        let titre = |row: &Titration| volume(way, row, Delivery::First);
        match &self.procedure.scheme {
            Scheme::Direct(scheme) | Scheme::Indirect(scheme) => {
                let Direct {
                    titrant,
                    analyte_per_titrant,
                    asked,
                    ..
                } = scheme;
                let c = unless(way.nominal, self.molarity, titrant.nominal)?;
                let mut used = titre(row)? - blank(&titre);
                let mut sample = self.sample(row)?;
                if way.exchanged {
                    std::mem::swap(&mut used, &mut sample);
                }
                let amount = c * used * way.ratio(0, *analyte_per_titrant);
                Some(self.express(way, amount, asked, sample))
            }
            Scheme::Back(Back {
                titrant,
                excess,
                analyte_per_excess,
                excess_per_titrant,
                asked,
            }) => {
                let c = unless(way.nominal, self.molarity, titrant.nominal)?;
                let per_titrant = way.ratio(0, *excess_per_titrant);
                let whole = excess.is_in_whole();
                let parts = if whole { self.dilution(way) } else { 1.0 };
                let left = c * titre(row)? * per_titrant * parts;
                let by_pipette = || {
                    let c = unless(way.excess_nominal, self.excess_molarity, excess.nominal)?;
                    let volume = match excess.delivered {
                        Some(_) => volume(way, row, Delivery::Excess)?,
                        None => as_f64(excess.glassware.capacity()),
                    };
                    Some(c * volume)
                };
                let added = match self.blank(&titre) {
                    Some(blank) if !way.no_blank => c * blank * per_titrant * parts,
                    _ => by_pipette()?,
                };
                let used = if way.left_over { left } else { added - left };
                let amount = used * way.ratio(1, *analyte_per_excess);
                let way = &Way {
                    no_dilution: way.no_dilution || whole,
                    ..*way
                };
                Some(self.express(way, amount, asked, self.sample(row)?))
            }
            Scheme::Standardisation(Standardisation {
                weighed,
                titrant_per_weighed,
                asked,
                ..
            }) => {
                let purity = self.procedure.sample.purity;
                let pure = purity.map_or(1.0, |purity| as_f64(purity.fraction));
                let molar_mass = way.molar_mass.unwrap_or(as_f64(weighed.molar_mass().value));
                let standard = 1000.0 * self.sample(row)? * pure / molar_mass;
                let titrated = standard / self.dilution(way);
                let amount = titrated * way.ratio(0, *titrant_per_weighed);
                let used = titre(row)? - blank(&titre);
                let way = Way {
                    no_dilution: true,
                    molar_mass: None,
                    ..*way
                };
                Some(self.express(&way, amount, asked, used))
            }
            Scheme::TwoEndpoint(TwoEndpoint {
                titrant,
                second,
                to_first: per_first,
                to_second: per_second,
                asked,
                ..
            }) => {
                let to_first = |row: &Titration| {
                    let end = Column::FirstEndpoint.get(row)?.value();
                    let start = row.pieces(Delivery::First).next()?.start.value();
                    let start = if way.takes_end(row.trial) {
                        0.0
                    } else {
                        as_f64(start)
                    };
                    Some(as_f64(end) - start)
                };
                let beside = |row: &Titration| volume(way, row, Delivery::Second);
                let c = unless(way.nominal, self.molarity, titrant.nominal)?;
                let (one, two) = match second.portion {
                    Portion::Same => (
                        to_first(row)? - blank(&to_first),
                        titre(row)? - blank(&titre),
                    ),
                    Portion::Another => {
                        (titre(row)? - blank(&titre), beside(row)? - blank(&beside))
                    }
                };
                let amount = c * (part(*per_first) * one + part(*per_second) * two);
                Some(self.express(way, amount, asked, self.sample(row)?))
            }
            Scheme::Curve(scheme) => {
                let c = unless(way.nominal, self.molarity, scheme.titrant.nominal)?;
                let (titre, sample) = (equivalence(&scheme.curve, row)?, self.sample(row)?);
                let exchanged = way.exchanged.then_some((sample, titre));
                let (used, sample) = exchanged.unwrap_or((titre, sample));
                let amount = c * used * way.ratio(0, scheme.analyte_per_titrant);
                Some(self.express(way, amount, &scheme.asked, sample))
            }
            Scheme::Heating(heating) => {
                let (asked, mass) = (&heating.asked, self.sample(row)?);
                let left = content(row, Column::Crucible, Column::CrucibleHeated)?;
                let of = |species: &Formula| as_f64(species.molar_mass().value);
                let (own, residue) = (of(&asked.analyte), of(&heating.heated.species));
                let lost = 1000.0 * (mass - left);
                Some(match heating.residue_per_analyte {
                    Some(ratio) => {
                        let amount = lost / (own - way.ratio(0, ratio) * residue);
                        self.express(way, amount, asked, mass)
                    }
                    None if asked.unit == ResultUnit::MolPerMol => {
                        let own = way.molar_mass.unwrap_or(own);
                        way.rounded(lost / own) / (1000.0 * left / residue)
                    }
                    None => self.express(way, lost / own, asked, mass),
                })
            }
            Scheme::Gravimetric(Gravimetric {
                precipitate,
                analyte_per_precipitate,
                asked,
            }) => {
                let precipitated =
                    |row: &Titration| content(row, Column::Crucible, Column::CrucibleFull);
                let mass = precipitated(row)? - blank(&precipitated);
                let molar_mass = as_f64(precipitate.species.molar_mass().value);
                let amount = 1000.0 * mass / molar_mass * way.ratio(0, *analyte_per_precipitate);
                Some(self.express(way, amount, asked, self.sample(row)?))
            }
            Scheme::Density(Density { water, .. }) => {
                let (air, weights) = (0.0012, 8.0);
                let mass = content(row, Column::Vessel, Column::VesselFull)?;
                let filled = match water {
                    Some(celsius) => {
                        let water = content(row, Column::Vessel, Column::VesselWater)?;
                        mass / water * (water_density(as_f64(*celsius))? - air)
                    }
                    None => mass * (1.0 - air / weights) / self.sample(row)?,
                };
                Some(way.rounded(filled) + air)
            }
            Scheme::CalibrationLine(CalibrationLine {
                calibration,
                analyte_per_species,
                asked,
            }) => {
                let absorbance =
                    |row: &Titration| Some(as_f64(Column::Absorbance.get(row)?.value()));
                let c = unless(way.nominal, self.molarity, calibration.nominal)?;
                let flask = as_f64(calibration.made_up_in.capacity());
                let read_off = |height| read_off(calibration, self.hand_in, c, height);
                let mut found = read_off(absorbance(row)?)?;
                if let Some(blank) = self.blank(&absorbance)
                    && self.procedure.trials.blank
                    && !way.no_blank
                {
                    found -= read_off(blank)?;
                }
                let amount = found * flask * way.ratio(0, *analyte_per_species);
                Some(self.express(way, amount, asked, self.sample(row)?))
            }
            Scheme::StandardAddition(StandardAddition {
                vessels,
                analyte_per_species,
                asked,
            }) => {
                let c = unless(way.nominal, self.molarity, vessels.nominal)?;
                let in_vessel = extrapolated(vessels, row, c)?;
                let amount = in_vessel * way.ratio(0, *analyte_per_species);
                Some(self.express(way, amount, asked, self.sample(row)?))
            }
            Scheme::TwoSignals(scheme) => {
                let sample = self.sample(row)?;
                let asked = &scheme.asked;
                match &scheme.pair {
                    Pair::Wavelengths { made_up_in, .. } => {
                        let flask = as_f64(made_up_in.capacity());
                        let amount = by_elimination(scheme, row)? * flask;
                        Some(self.express(way, amount, asked, sample))
                    }
                    Pair::MassAndTitre { titrant, uses } => {
                        let c = unless(way.nominal, self.molarity, titrant.nominal)?;
                        let used = c * (titre(row)? - blank(&titre)) * self.dilution(way);
                        let [one, two] = uses.map(part);
                        let of = |species: &Formula| as_f64(species.molar_mass().value);
                        // were all of it the other, so much less titrant would be used
                        let per_gram = two / of(&scheme.other);
                        let short = used - 1000.0 * sample * per_gram;
                        // a molar mass looked up wrongly is wrong in both places
                        let own = way.molar_mass.unwrap_or(of(&asked.analyte));
                        let amount = short / (one - own * per_gram);
                        let way = Way {
                            no_dilution: true,
                            ..*way
                        };
                        Some(self.express(&way, amount, asked, sample))
                    }
                }
            }
        }
    }

    /// An amount of analyte, mmol, in a sample, mL or g, in the unit asked for.
    fn express(&self, way: &Way, amount: f64, asked: &Asked, sample: f64) -> f64 {
        let amount = way.rounded(amount) * self.dilution(way) * 1000_f64.powi(way.thousands);
        let expressed = match (asked.unit.is_mass(), way.molar_mass) {
            (true, Some(other)) => amount * other,
            (true, None) => {
                amount * part(asked.per_analyte) * as_f64(asked.expressed_as.molar_mass().value)
            }
            (false, _) => amount * part(asked.per_analyte),
        };
        let factor = match asked.unit {
            ResultUnit::GPerMol => return 1000.0 * sample / expressed,
            ResultUnit::MgPerPortion => {
                let portion = self.procedure.sample.portion.map_or(sample, as_f64);
                return expressed * portion / sample;
            }
            ResultUnit::MolPerL
            | ResultUnit::MolPerMol
            | ResultUnit::GPerL
            | ResultUnit::GPerMl
            | ResultUnit::MmolPerG => 1.0,
            ResultUnit::MmolPerL | ResultUnit::MgPerL | ResultUnit::PartsPerMillion => 1000.0,
            ResultUnit::PartsPerBillion => 1e6,
            ResultUnit::GermanDegree | ResultUnit::FrenchDegree => 100.0,
            ResultUnit::PercentMass | ResultUnit::PercentMassVolume => 0.1,
        };
        expressed * factor / sample
    }

    fn dilution(&self, way: &Way) -> f64 {
        match &self.procedure.sample.aliquot {
            Some(aliquot) if !way.no_dilution => {
                as_f64(aliquot.flask.capacity()) / as_f64(aliquot.pipette.capacity())
            }
            _ => 1.0,
        }
    }

    /// mL or g.
    fn sample(&self, row: &Titration) -> Option<f64> {
        let read = |column: Column| column.get(row).map(|r| as_f64(r.value()));
        match self.procedure.sample.by {
            SampleBy::Volume if self.procedure.reads_sample_volume() => read(Column::SampleVolume),
            SampleBy::Volume => Some(as_f64(self.procedure.sample.glassware.capacity())),
            SampleBy::Mass => read(Column::SampleMass),
            SampleBy::MassDifference => {
                Some(read(Column::SampleBefore)? - read(Column::SampleAfter)?)
            }
        }
    }

    fn blank(&self, volume: &dyn Fn(&Titration) -> Option<f64>) -> Option<f64> {
        let rows = self.hand_in.titrations.iter();
        let blanks = rows.filter(|row| row.trial == TrialLabel::Blank);
        let volumes: Vec<f64> = blanks.filter_map(volume).collect();
        let sum: f64 = volumes.iter().sum();
        (!volumes.is_empty()).then(|| sum / volumes.len() as f64)
    }
}
