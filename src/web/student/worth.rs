//! Whether another trial is worth doing, from the readings alone and by the procedure's own rule.

use rust_decimal::Decimal;

use crate::language::{Arg, Language, Message, message};
use crate::measure::to_decimals;
use crate::procedure::{Accept, Procedure};
use crate::workup::{WorkUp, concordant};

/// What is to be said of the trials that are in, a sentence each: whether they agree, and which lies apart.
pub fn watched(procedure: &Procedure, work_up: &WorkUp, language: Language) -> Vec<String> {
    let lies_apart = apart(procedure, work_up).into_iter();
    let said = lies_apart.chain(worth(procedure, work_up));
    said.map(|words| language.say(&words)).collect()
}

/// How the trials of one student stand to each other, for whoever looks on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Fewer than two trials, or trials that need not agree.
    Open,
    /// No two agree yet.
    NoneAgree,
    /// These do, and whether they are as many as are asked for.
    Agree { trials: Vec<u32>, enough: bool },
    /// One or more lie so far apart that the burette should be looked at again.
    Apart,
}

/// How they stand, by the rules of which [`watched`] makes sentences.
pub fn standing(procedure: &Procedure, work_up: &WorkUp) -> Standing {
    let worked_up = worked_up(work_up);
    let minimum = procedure.trials.minimum as usize;
    if apart(procedure, work_up).is_some() {
        return Standing::Apart;
    }
    if !matches!(procedure.trials.accept, Accept::Concordant { .. }) || worked_up < 2 {
        return Standing::Open;
    }
    match agreeing(work_up) {
        trials if trials.is_empty() => Standing::NoneAgree,
        trials => Standing::Agree {
            enough: trials.len() >= minimum,
            trials,
        },
    }
}

/// Titres that do not agree by this much more than they should are looked at again: less is a matter of hands.
const APART: Decimal = Decimal::TWO;

/// Which trial lies apart from the others, while its burette still stands as it was read. The distance is said to a
/// tenth of a millilitre and no titre is: nobody can copy what would agree.
fn apart(procedure: &Procedure, work_up: &WorkUp) -> Option<Message> {
    let done = work_up.trials.iter().filter(|trial| trial.result.is_some());
    let done = done.filter(|trial| trial.delivered.is_some());
    let titres: Vec<(u32, [Decimal; 2])> = done
        .filter_map(|trial| Some((trial.trial.number()?, trial.comparable)))
        .collect();
    said_apart(&titres, procedure.trials.accept.agreement())
}

fn said_apart(titres: &[(u32, [Decimal; 2])], within: Decimal) -> Option<Message> {
    let far = within.checked_mul(APART)?;
    let gap = |a: [Decimal; 2], b: [Decimal; 2]| {
        let gap = |which: usize| a[which].saturating_sub(b[which]).abs();
        gap(0).max(gap(1))
    };
    if let [(first, a), (second, b)] = titres {
        let gap = gap(*a, *b);
        return (gap > far).then(|| {
            let gap = to_decimals(gap, 1);
            message!(
                "watch.two-apart",
                first = *first,
                second = *second,
                gap = gap
            )
        });
    }
    let together = concordant(titres, far)?;
    let (near, odd): (Vec<_>, Vec<_>) = titres.iter().zip(together).partition(|(_, is_in)| *is_in);
    let nearest = |titre: [Decimal; 2]| near.iter().map(|((_, other), _)| gap(titre, *other)).min();
    match odd.as_slice() {
        [((number, titre), _)] => {
            let gap = to_decimals(nearest(*titre)?, 1);
            Some(message!("watch.one-apart", number = *number, gap = gap))
        }
        [] => None,
        some => {
            let numbers = some.iter().map(|((number, _), _)| Arg::from(*number));
            let numbers: Vec<Arg> = numbers.collect();
            Some(message!("watch.some-apart", numbers = numbers))
        }
    }
}

/// How far the titres agree, and whether another trial is worth doing; where titres need not agree, or nothing is
/// titrated, the number of trials says all there is.
fn worth(procedure: &Procedure, work_up: &WorkUp) -> Option<Message> {
    let worked_up = worked_up(work_up);
    let minimum = procedure.trials.minimum;
    let Accept::Concordant { within } = procedure.trials.accept else {
        let asked = message!("count.trial", n = minimum);
        return match worked_up {
            0 => None,
            few if few < minimum as usize => {
                Some(message!("watch.some-of", few = few, asked = asked))
            }
            _ => Some(message!("watch.all-of", asked = asked)),
        };
    };
    match worked_up {
        0 => None,
        1 => Some(message!("watch.one-alone")),
        _ => Some(agreement(&agreeing(work_up), within, minimum)),
    }
}

/// How many numbered trials could be worked up.
fn worked_up(work_up: &WorkUp) -> usize {
    let done = work_up.trials.iter().filter(|trial| trial.result.is_some());
    done.filter(|trial| trial.trial.number().is_some()).count()
}

/// The trials that agree.
fn agreeing(work_up: &WorkUp) -> Vec<u32> {
    let counted = work_up.trials.iter().filter(|trial| trial.counted);
    counted
        .filter(|_| !work_up.none_agree)
        .filter_map(|trial| trial.trial.number())
        .collect()
}

/// What is said of the trials that agree.
fn agreement(agree: &[u32], limit: Decimal, minimum: u32) -> Message {
    if agree.is_empty() {
        return message!("watch.none-agree", limit = limit);
    }
    let numbers: Vec<Arg> = agree.iter().map(|number| Arg::from(*number)).collect();
    if agree.len() >= minimum as usize {
        message!("watch.agree-enough", numbers = numbers, limit = limit)
    } else {
        message!(
            "watch.agree-few",
            numbers = numbers,
            limit = limit,
            minimum = minimum
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(titres: &[&str]) -> Vec<(u32, [Decimal; 2])> {
        (1..)
            .zip(titres)
            .map(|(n, t)| (n, [t.parse().expect("a number"), Decimal::ZERO]))
            .collect()
    }

    #[test]
    fn a_trial_that_lies_apart_is_said_so_without_a_titre_to_copy() {
        let said = |titres: &[&str]| {
            said_apart(&read(titres), Decimal::new(10, 2)).map(|words| words.to_string())
        };
        let words = said(&["23.40", "24.41", "23.42"]);
        let expected = "Trial 2 lies 1.0 mL from the others. Look at the burette again.";
        assert_eq!(words.as_deref(), Some(expected));
        let words = said(&["23.40", "22.36"]);
        let expected =
            "Trials 1 and 2 lie 1.0 mL apart. Look at the burette again before you empty it.";
        assert_eq!(words.as_deref(), Some(expected));
        let words = said(&["23.40", "26.10", "23.46", "21.00"]);
        let expected = "Trials 2 and 4 lie apart from the others. Look at the burette again.";
        assert_eq!(words.as_deref(), Some(expected));
        // what unsteady hands do is no reason to look again
        assert_eq!(said(&["23.40", "23.60", "23.42"]), None);
        assert_eq!(said(&["23.40"]), None);
    }

    fn said(titres: &[&str], minimum: u32) -> String {
        let limit = Decimal::new(10, 2);
        let titres = read(titres);
        let chosen = concordant(&titres, limit).unwrap_or_default();
        let agree = titres.iter().zip(chosen).filter(|(_, is_in)| *is_in);
        let agree: Vec<u32> = agree.map(|((number, _), _)| *number).collect();
        agreement(&agree, limit, minimum).to_string()
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
