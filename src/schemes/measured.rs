//! What is measured at the bench, as numbers: by a simulated student, or to see what a result follows from.

use crate::columns::Column;
use crate::language::Message;
use crate::submission::Delivery;

/// The one number per trial that a result follows from: a titre, a mass, an absorbance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signal {
    pub name: &'static str,
    /// Its unit; empty for absorbance.
    pub unit: &'static str,
    /// The least that belongs to a sample.
    pub least: f64,
    /// The most there is.
    pub full: f64,
    /// What that is called, such as “the burette”.
    pub scale: &'static str,
    /// What a blank shows; none where it is a titre of its own.
    pub blank: Option<f64>,
    /// Whether the result is in proportion to its inverse.
    pub inverse: bool,
    /// Whether it is no straight line of the result.
    pub bent: bool,
    /// Whether it is the content of what measures the sample, so that an error of that volume is in it.
    pub of_vessel: bool,
}

impl Signal {
    /// So much of the way from the least to the most.
    pub fn at(&self, share: f64) -> f64 {
        self.least + share * (self.full - self.least)
    }
}

/// One standard of a calibration line.
#[derive(Clone, Debug, PartialEq)]
pub struct Standard {
    /// What it is made of.
    pub words: Message,
    /// The signal to expect.
    pub signal: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measurement {
    /// A burette delivers so many mL.
    Deliver(Delivery, f64),
    /// So many mL are delivered when the first of two endpoints is seen, on the way to the end.
    FirstEndpoint(f64),
    /// A container is weighed empty and with so many g in it.
    Weigh {
        empty: Column,
        full: Column,
        content: f64,
        /// What such a container weighs, g.
        tare: (f64, f64),
    },
    /// The container weighed before, with so many g of something else in it.
    WeighAgain {
        empty: Column,
        full: Column,
        content: f64,
    },
    Display(Column, f64),
    /// At one point of a curve so many mL are added, and a meter shows that.
    Point {
        volume: Column,
        added: f64,
        signal: Column,
        shows: f64,
    },
}
