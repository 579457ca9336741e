//! The schemes: how a result follows from readings. All there is to know about one stands in its file; everything else
//! reaches it through [`SchemeRules`].
#![deny(clippy::wildcard_enum_match_arm)]

mod back;
mod calibration_fit;
mod calibration_line;
mod calibration_slips;
mod curve;
mod curve_model;
mod curve_points;
mod curve_steps;
mod density;
mod direct;
mod file;
mod gravimetric;
mod heating;
mod line_weights;
mod measured;
mod own_slips;
mod parts;
mod standard_addition;
mod standardisation;
mod two_endpoint;
mod two_signals;
mod two_signals_slips;
mod two_signals_steps;

use std::fmt;
use std::ops::{Deref, DerefMut};

use rust_decimal::Decimal;

use crate::chem::Formula;
use crate::columns::Column;
use crate::language::Message;
use crate::measure::Glassware;
use crate::procedure::{Asked, Common, Excess, ProcedureFault, Sample, Titrant};
use crate::submission::Titration;
use crate::workup::{Builder, Graph, LabRow, Measured, Of, Shared, StepId, Trial, Worked};

pub use back::Back;
pub use calibration_line::{Calibration, CalibrationLine};
pub use curve::{Curve, CurveMethod, CurveRead, CurveSignal};
pub use curve_points::{CurvePoints, Point};
pub use curve_steps::HALF_PH;
pub use density::Density;
pub use direct::Direct;
pub use file::{SchemeFile, formula, piece, reactions};
pub use gravimetric::Gravimetric;
pub use heating::Heating;
pub use line_weights::{LineShape, LineWeights};
pub use measured::{Measurement, Signal, Standard};
pub use own_slips::OwnSlip;
pub use standard_addition::StandardAddition;
pub use standardisation::Standardisation;
pub use two_endpoint::{Portion, Second, TwoEndpoint};
pub use two_signals::{Pair, TwoSignals};

type Faults = Vec<ProcedureFault>;

/// What every scheme says of itself. Only what a scheme cannot forget has a default: without standards and the steps
/// that follow from them there would be no result, and what is odd about a curve is seen in it alone. Slips that every
/// scheme shares need none of its own.
pub trait SchemeRules: fmt::Debug + Send + Sync {
    /// What it is called among people.
    fn words(&self) -> &'static str;

    /// What is read for the result, for a coordinator: a subject and a sentence each.
    fn facts(&self) -> Vec<(&'static str, String)>;

    /// What is read with what, and how finely, for a student.
    fn instruments(&self) -> Message;

    /// The ratios read off the reactions.
    fn ratio_words(&self) -> String;

    /// What is asked for; none for a density.
    fn asked(&self) -> Option<&Asked>;

    fn reagents(&self) -> Reagents<'_>;

    /// The glassware that delivers or measures reagents, to be exchanged for better.
    fn pieces_mut(&mut self) -> Vec<&mut Glassware>;

    /// The same parts checked anew, beside other common ones.
    fn again(&self, common: &Common) -> Result<Scheme, Faults>;

    /// The standards, in order.
    fn standards(&self) -> Vec<Standard> {
        Vec::new()
    }

    /// Whether readings can tell one student's work from another's: not where everybody measures the same solutions with
    /// one instrument, or fills the same vessels.
    fn tells_apart(&self) -> bool;

    /// Columns of what is measured, with so many fillings of the burette.
    fn columns(&self, fillings: usize) -> Vec<Column>;

    /// What those columns are read from.
    fn instrument(&self) -> &Glassware;

    /// What is odd about a row beyond what its glassware says, beside the columns where it is seen.
    fn odd(&self, _: &Titration) -> Vec<(Column, Message)> {
        Vec::new()
    }

    /// What a row measures, before anything follows from it.
    fn measure(&self, builder: &mut Builder, row: &Titration, of: Of) -> Worked<Measured>;

    /// Steps that all trials share and that follow from rows other than theirs.
    fn shared<'a>(&self, _: &mut Builder<'a>, _: &[LabRow<'a>]) -> Worked<Shared> {
        Ok(Shared::default())
    }

    /// What goes wrong in its own sums and in no other's.
    fn slips(&self, _: &Graph) -> Vec<OwnSlip> {
        Vec::new()
    }

    /// The steps to the result of one trial.
    fn trial<'a>(&self, builder: &mut Builder<'a>, trial: &Trial<'a>) -> Worked<StepId>;

    /// The one number per trial that a result follows from.
    fn signal(&self, sample: &Sample) -> Signal;

    /// What a simulated student measures for that signal and that much of the sample, mL or g.
    fn measurements(&self, signal: f64, sample: f64) -> Option<Vec<Measurement>>;
}

/// Reagents whose solutions stand on the bench.
#[derive(Clone, Copy, Debug, Default)]
pub struct Reagents<'s> {
    /// What is in the burette; none where nothing is titrated.
    pub titrant: Option<&'s Titrant>,
    pub excess: Option<&'s Excess>,
    /// The reagent whose lot enters the result, with its molarity by the label, mol/L: the titrant (not where it is what
    /// is asked for), or the stock of the standards.
    pub lot: Option<(&'s Formula, Decimal)>,
}

impl<'s> Reagents<'s> {
    pub fn of_titration(titrant: &'s Titrant) -> Self {
        Self {
            titrant: Some(titrant),
            excess: None,
            lot: Some((&titrant.species, titrant.nominal)),
        }
    }
}

macro_rules! schemes {
    ($($kind:ident($scheme:ty): $name:literal;)*) => {
        /// Which scheme a procedure's file asks for.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum SchemeKind {
            $($kind,)*
        }

        /// A scheme with its parts and the ratios that follow from the reactions.
        #[derive(Clone, Debug)]
        pub enum Scheme {
            $($kind($scheme),)*
        }

        impl SchemeKind {
            pub const ALL: &'static [Self] = &[$(Self::$kind,)*];

            /// The word in a procedure's file.
            pub fn name(self) -> &'static str {
                match self {
                    $(Self::$kind => $name,)*
                }
            }

            /// The tables of a file that it has and not every scheme, each with the schemes that have it in words.
            pub fn tables(self) -> &'static [(&'static str, &'static str)] {
                match self {
                    $(Self::$kind => <$scheme>::TABLES,)*
                }
            }

            /// Its tables read and checked; what is wrong with them is kept in the file.
            pub fn read(self, file: &SchemeFile) -> Option<Scheme> {
                match self {
                    $(Self::$kind => <$scheme>::read(file).map(Scheme::$kind),)*
                }
            }
        }

        impl Scheme {
            pub fn kind(&self) -> SchemeKind {
                match self {
                    $(Self::$kind(_) => SchemeKind::$kind,)*
                }
            }
        }

        impl Deref for Scheme {
            type Target = dyn SchemeRules;

            fn deref(&self) -> &Self::Target {
                match self {
                    $(Self::$kind(scheme) => scheme,)*
                }
            }
        }

        impl DerefMut for Scheme {
            fn deref_mut(&mut self) -> &mut Self::Target {
                match self {
                    $(Self::$kind(scheme) => scheme,)*
                }
            }
        }
    };
}

schemes! {
    Direct(Direct): "direct";
    Indirect(Direct): "indirect";
    Back(Back): "back";
    Standardisation(Standardisation): "standardisation";
    TwoEndpoint(TwoEndpoint): "two-endpoint";
    Gravimetric(Gravimetric): "gravimetric";
    Heating(Heating): "heating";
    Density(Density): "density";
    CalibrationLine(CalibrationLine): "calibration-line";
    Curve(Curve): "curve";
    StandardAddition(StandardAddition): "standard-addition";
    TwoSignals(TwoSignals): "two-signals";
}
