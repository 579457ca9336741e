//! Rehearsed terms of shipped procedures.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::simulate::class::{Rehearsed, SimulatedClass};
use concordant::term::ExperimentAudit;

/// Four sections of 24 with two lots and eight bottles.
pub fn crossed(key: &str) -> SimulatedClass {
    let glassware = shipped_glassware();
    let text = shipped_procedure(key).expect("is shipped");
    let procedure = read_procedure("p.toml", &text, &glassware).expect("is sound");
    SimulatedClass::crossed(procedure, text, glassware)
}

pub fn rehearse(class: &SimulatedClass, seed: u64) -> Rehearsed {
    class.rehearse(seed).expect("can be carried out")
}

/// The class judged and audited.
pub fn audited(rehearsed: &Rehearsed) -> ExperimentAudit {
    rehearsed.audit(&rehearsed.judged()).expect("has results")
}
