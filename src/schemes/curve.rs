//! Titration curves: what a meter shows while titrant is added, and the equivalence volume from it by the second
//! derivative, by Gran's line or where two straight lines meet.

use super::curve_points::CurvePoints;
use super::direct::from_volume;
use super::parts::{
    TITRANT, checked, display_words, in_reactions, kind, needs_reactions, positive,
};
use super::{Faults, Measurement, OwnSlip, Reagents, Scheme, SchemeFile, SchemeRules, Signal};
use crate::chem::{Ratio, chain_ratio};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, GlasswareKind, as_f64};
use crate::procedure::{Allowed, Asked, Common, Per, ProcedureFault, Sample, Titrant};
use crate::submission::Titration;
use crate::text::{decimal, found};
use crate::words::named;
use crate::workup::{Builder, Graph, Measured, Of, Role, StepId, Titre, Trial, Worked};
use rust_decimal::Decimal;

/// Share of the burette up to which an equivalence may lie: a curve goes on a third as far past it.
const BEFORE: f64 = 0.8;

/// From a curve.
#[derive(Clone, Debug)]
pub struct Curve {
    pub titrant: Titrant,
    pub curve: CurveRead,
    /// Analyte used per titrant used.
    pub analyte_per_titrant: Ratio,
    pub asked: Asked,
}

/// What is read while titrant is added, and how the equivalence follows from it.
#[derive(Clone, Debug)]
pub struct CurveRead {
    pub signal: CurveSignal,
    pub method: CurveMethod,
    pub meter: Glassware,
    /// Volume in the vessel before anything is added, mL.
    pub start: Decimal,
    /// Of a weak acid or of the acid of a weak base; of the product of a precipitate's ions where a potential is read.
    pub pk: Option<Decimal>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveSignal {
    Ph,
    Potential,
    Conductance,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveMethod {
    SecondDerivative,
    Gran,
    TwoLines,
}

named! { CurveSignal, name, from_name:
    Ph = "pH",
    Potential = "potential",
    Conductance = "conductance",
}

named! { CurveMethod, name, from_name:
    SecondDerivative = "second-derivative",
    Gran = "gran",
    TwoLines = "two-lines",
}

impl CurveSignal {
    /// The column of its n-th point.
    pub fn column(self, n: usize) -> Column {
        match self {
            Self::Ph => Column::CurvePh(n),
            Self::Potential => Column::CurvePotential(n),
            Self::Conductance => Column::CurveConductance(n),
        }
    }

    fn meter(self) -> GlasswareKind {
        match self {
            Self::Ph => GlasswareKind::PhMeter,
            Self::Potential => GlasswareKind::Millivoltmeter,
            Self::Conductance => GlasswareKind::ConductanceMeter,
        }
    }

    /// What an instrument's file calls it.
    pub fn headings(self) -> &'static [&'static str] {
        match self {
            Self::Ph => &["ph"],
            Self::Potential => &["e", "u", "mv", "pot", "volt"],
            Self::Conductance => &["g", "ms", "cond"],
        }
    }
}

impl CurveMethod {
    fn words(self) -> &'static str {
        match self {
            Self::SecondDerivative => "where the second derivative is zero",
            Self::Gran => "by Gran\u{2019}s line before the jump",
            Self::TwoLines => "where two straight lines meet",
        }
    }

    fn fits(self, signal: CurveSignal) -> bool {
        match self {
            Self::SecondDerivative => signal != CurveSignal::Conductance,
            Self::Gran => signal == CurveSignal::Ph,
            Self::TwoLines => signal == CurveSignal::Conductance,
        }
    }
}

impl Titrant {
    /// Whether it is an acid rather than a base: its formula begins with hydrogen.
    pub(super) fn is_acid(&self) -> bool {
        self.species.written().starts_with('H')
    }
}

impl Curve {
    pub const TABLES: &[(&str, &str)] = &[TITRANT, ("curve", "is curve")];

    pub fn read(file: &SchemeFile) -> Option<Self> {
        let titrant = file.titrant();
        let curve = file.table("curve", |section| {
            section.only(&["signal", "method", "meter", "start_mL", "pK"]);
            let names = |all: &[&str]| all.join(", ");
            let signal = section.parsed("signal", |text| {
                let all = CurveSignal::ALL.map(CurveSignal::name);
                CurveSignal::from_name(text).ok_or_else(|| found(text, &names(&all)))
            });
            let method = section.parsed("method", |text| {
                let all = CurveMethod::ALL.map(CurveMethod::name);
                CurveMethod::from_name(text).ok_or_else(|| found(text, &names(&all)))
            });
            let meters = signal.map_or_else(Vec::new, |signal| vec![signal.meter()]);
            let meter = file.piece(&section, "meter", &meters);
            let start = section.number("start_mL");
            let pk = section.has("pK").then(|| section.parsed("pK", decimal));
            Some(CurveRead {
                signal: signal?,
                method: method?,
                meter: meter?,
                start: start?,
                pk: pk.flatten(),
            })
        });
        let (common, titrant) = (file.common.as_ref()?, titrant?);
        file.made(Self::new(common, titrant, curve?))
    }

    pub fn new(common: &Common, titrant: Titrant, curve: CurveRead) -> Result<Self, Faults> {
        let mut faults = common.check(&Allowed {
            result: Per::Sample,
            no_blank: Some("none: a curve shows where its own equivalence is"),
            titres: true,
            standard: false,
            molar_mass: false,
        });
        titrant.check(&mut faults);
        curve.check(&mut faults);
        let made = common.asked().and_then(|asked| {
            needs_reactions(common)?;
            let ratio = chain_ratio(&common.reactions, &asked.analyte, &titrant.species);
            Ok(Self {
                analyte_per_titrant: ratio.map_err(in_reactions)?,
                titrant,
                curve,
                asked,
            })
        });
        checked(faults, made)
    }

    /// The pH at half of the equivalence volume is a weak acid's pKa.
    fn has_half(&self) -> bool {
        self.curve.signal == CurveSignal::Ph && self.curve.pk.is_some()
    }
}

impl CurveRead {
    fn check(&self, faults: &mut Faults) {
        let (signal, method) = (self.signal, self.method);
        kind("curve.meter", &self.meter, &[signal.meter()], faults);
        positive("curve.start_mL", self.start, faults);
        if !method.fits(signal) {
            let what = format!(
                "found {}, expected another for a curve of {}: second-derivative of pH or potential, gran of pH, two-lines of conductance",
                method.name(),
                signal.name()
            );
            faults.push(ProcedureFault::new("curve.method", what));
        }
        let needed = signal == CurveSignal::Potential;
        let fits = |pk: &Decimal| (Decimal::ONE..=Decimal::from(20)).contains(pk);
        let what = match &self.pk {
            None if needed => "found none, expected that of the product of the ions",
            Some(pk) if !fits(pk) => "found one outside 1 to 20",
            _ => return,
        };
        faults.push(ProcedureFault::new("curve.pK", what));
    }
}

impl SchemeRules for Curve {
    fn asked(&self) -> Option<&Asked> {
        Some(&self.asked)
    }

    /// Everybody adds the same volumes, and what is alike between two curves is not looked for.
    fn tells_apart(&self) -> bool {
        false
    }

    fn instrument(&self) -> &Glassware {
        &self.curve.meter
    }

    fn words(&self) -> &'static str {
        "titration curve"
    }

    fn facts(&self) -> Vec<(&'static str, String)> {
        let read = &self.curve;
        let words = format!(
            "{} against volume, from {} mL on, on a {}; equivalence {}",
            read.signal.name(),
            read.start,
            read.meter.title(),
            read.method.words()
        );
        vec![self.titrant.fact(), ("Curve", words)]
    }

    fn instruments(&self) -> Message {
        let burette = self.titrant.burette_words();
        let piece = display_words(&self.curve.meter);
        let curve = message!("instruments.curve", piece = piece);
        message!("instruments.and", first = burette, second = curve)
    }

    fn ratio_words(&self) -> String {
        let (ratio, titrant) = (self.analyte_per_titrant, &self.titrant.species);
        format!("{ratio} {} per {titrant}", self.asked.analyte)
    }

    fn reagents(&self) -> Reagents<'_> {
        Reagents::of_titration(&self.titrant)
    }

    fn pieces_mut(&mut self) -> Vec<&mut Glassware> {
        vec![&mut self.titrant.burette]
    }

    fn again(&self, common: &Common) -> Result<Scheme, Faults> {
        Self::new(common, self.titrant.clone(), self.curve.clone()).map(Scheme::Curve)
    }

    fn columns(&self, points: usize) -> Vec<Column> {
        let point = |n| [Column::CurveVolume(n), self.curve.signal.column(n)];
        (1..=points.max(1)).flat_map(point).collect()
    }

    fn odd(&self, row: &Titration) -> Vec<(Column, Message)> {
        let points = CurvePoints::of(self.curve.signal, row);
        let fault = points.fault(self.curve.method, as_f64(self.curve.start));
        let told = |(column, what): (Column, &'static str)| {
            (
                column,
                message!("curve.no-equivalence", what = Message::new(what)),
            )
        };
        let by_jump = self.curve.method != CurveMethod::TwoLines;
        let coarse = || points.coarse().filter(|_| by_jump);
        fault.map(told).or_else(coarse).into_iter().collect()
    }

    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured> {
        let points = CurvePoints::of(self.curve.signal, row);
        let volume = match self.curve.method {
            CurveMethod::SecondDerivative => self.by_second_derivative(builder, &points, of),
            CurveMethod::Gran => self.by_gran(builder, &points, of),
            CurveMethod::TwoLines => self.by_two_lines(builder, &points, of),
        }?;
        builder.volume_added(volume, of);
        Ok(Measured {
            delivered: Some(volume),
            ..Measured::one(volume, Role::MeanBlank(Titre::Whole))
        })
    }

    fn slips(&self, graph: &Graph) -> Vec<OwnSlip> {
        Self::slips_with_volumes(graph)
    }

    /// n(A) = c(T) · V(eq) · A/T, then per sample.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId> {
        let volume = trial.signal("why.curve")?;
        if self.has_half() {
            self.at_half(builder, trial, volume)?;
        }
        let ratio = self.analyte_per_titrant;
        from_volume(builder, trial, volume, (&self.asked, &self.titrant, ratio))
    }

    fn signal(&self, _: &Sample) -> Signal {
        let burette = self.titrant.signal();
        Signal {
            full: burette.full * BEFORE,
            scale: "the part of the burette that leaves room past the equivalence",
            ..burette
        }
    }

    fn measurements(&self, signal: f64, _: f64) -> Option<Vec<Measurement>> {
        let numbered = (1..).zip(self.volumes(signal));
        let point = |(n, volume): (usize, f64)| Measurement::Point {
            volume: Column::CurveVolume(n),
            added: volume,
            signal: self.curve.signal.column(n),
            shows: self.shows(volume, signal),
        };
        Some(numbered.map(point).collect())
    }
}
