//! Whether another trial is worth doing, from the readings alone and by the procedure's own rule.

use rust_decimal::Decimal;

use crate::procedure::{Accept, Procedure};
use crate::workup::WorkUp;

/// The rule as the form's script reads it.
pub struct Rule {
    /// `concordant`, or empty where titres need not agree.
    pub name: &'static str,
    /// mL; empty where titres need not agree.
    pub within: String,
    pub minimum: u32,
}

impl Rule {
    pub fn of(procedure: &Procedure) -> Self {
        let minimum = procedure.trials.minimum;
        match procedure.trials.accept {
            Accept::Concordant { within } => Self {
                name: "concordant",
                within: within.to_string(),
                minimum,
            },
            Accept::All | Accept::Dixon { .. } => Self {
                name: "",
                within: String::new(),
                minimum,
            },
        }
    }
}

/// How far the titres agree, and whether another trial is worth doing. None where titres need not agree, or where
/// nothing is titrated: then the number of trials says all there is.
pub fn worth(procedure: &Procedure, work_up: &WorkUp) -> Option<String> {
    let Accept::Concordant { within } = procedure.trials.accept else {
        return None;
    };
    let worked_up = work_up.trials.iter().filter(|trial| trial.result.is_some());
    match worked_up.count() {
        0 => None,
        1 => Some("One trial says nothing of agreement: do another.".to_owned()),
        _ => {
            let counted = work_up.trials.iter().filter(|trial| trial.counted);
            let agree: Vec<u32> = counted
                .filter(|_| !work_up.none_agree)
                .filter_map(|trial| trial.trial.number())
                .collect();
            Some(agreement(&agree, within, procedure.trials.minimum))
        }
    }
}

/// What is said of the trials that agree.
fn agreement(agree: &[u32], limit: Decimal, minimum: u32) -> String {
    if agree.is_empty() {
        return format!("No two trials agree within {limit} mL: another trial is worth doing.");
    }
    let numbers: Vec<String> = agree.iter().map(u32::to_string).collect();
    let who = format!("Trials {} agree within {limit} mL", listed(&numbers));
    if agree.len() >= minimum as usize {
        format!("{who}: that is enough, another trial is not needed.")
    } else {
        format!("{who}; {minimum} are to agree, so another trial is worth doing.")
    }
}

/// `1`, `1 and 2`, `1, 2 and 3`.
fn listed(items: &[String]) -> String {
    match items.split_last() {
        Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workup::concordant;

    fn said(titres: &[&str], minimum: u32) -> String {
        let limit = Decimal::new(10, 2);
        let titres: Vec<(u32, [Decimal; 2])> = (1..)
            .zip(titres)
            .map(|(n, t)| (n, [t.parse().expect("a number"), Decimal::ZERO]))
            .collect();
        let chosen = concordant(&titres, limit).unwrap_or_default();
        let agree = titres.iter().zip(chosen).filter(|(_, is_in)| *is_in);
        let agree: Vec<u32> = agree.map(|((number, _), _)| *number).collect();
        agreement(&agree, limit, minimum)
    }

    #[test]
    fn another_trial_is_worth_doing_until_as_many_agree_as_are_asked_for() {
        assert_eq!(
            said(&["20.40", "20.80"], 2),
            "No two trials agree within 0.10 mL: another trial is worth doing."
        );
        assert_eq!(
            said(&["20.40", "20.80", "20.46"], 2),
            "Trials 1 and 3 agree within 0.10 mL: that is enough, another trial is not needed."
        );
        assert_eq!(
            said(&["20.40", "20.80", "20.46"], 3),
            "Trials 1 and 3 agree within 0.10 mL; 3 are to agree, so another trial is worth doing."
        );
        assert_eq!(
            said(&["20.40", "20.42", "20.50"], 3),
            "Trials 1, 2 and 3 agree within 0.10 mL: that is enough, another trial is not needed."
        );
    }
}
