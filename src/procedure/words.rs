//! Rules for trials and marking, in words.

use rust_decimal::Decimal;

use super::{Accept, Procedure};
use crate::judge::{AgreementMeasure, Marking, Scale, Scored};
use crate::measure::plain;
use crate::stats::DixonCritical;
use crate::words::counted;

/// Which trials count, in a sentence.
pub fn trials_in_words(procedure: &Procedure) -> String {
    let rules = &procedure.trials;
    let blank = if rules.blank {
        ", and a blank that is subtracted"
    } else {
        ""
    };
    let accept = match rules.accept {
        Accept::All => "all of them count".to_owned(),
        Accept::Concordant { within } => {
            format!("the largest set within {within} mL counts")
        }
        Accept::Dixon {
            level,
            from,
            critical,
        } => {
            let level = level.percent();
            let table = match critical {
                DixonCritical::Exact => "",
                DixonCritical::Rorabacher => " by Rorabacher's table",
            };
            format!(
                "from {from} trials on, one outlier by Dixon's test at {level} %{table} is left out"
            )
        }
    };
    format!("at least {}{blank}; {accept}", rules.minimum)
}

/// The marking, a part and a sentence each.
pub fn marking_in_words(marking: &Marking) -> Vec<(&'static str, String)> {
    let mut parts = Vec::new();
    if let Some(accuracy) = &marking.accuracy {
        let words = scored(accuracy, "relative error");
        parts.push(("Accuracy", words));
    }
    if let Some(agreement) = &marking.agreement {
        let measure = match agreement.measure {
            AgreementMeasure::Range => "range of the results, as a share of their mean,",
            AgreementMeasure::RelativeS => "relative standard deviation",
        };
        parts.push(("Agreement", scored(&agreement.scored, measure)));
    }
    if let Some(points) = marking.recording {
        let words = format!(
            "{}, in proportion to the readings written as the glassware allows",
            counted(plain(points), "point", "points")
        );
        parts.push(("Recording", words));
    }
    if let Some(calculation) = &marking.calculation {
        let mut words = format!(
            "{} for an answer within {} % of what the student's own readings give; {} % of them where a single slip explains the answer",
            counted(plain(calculation.points), "point", "points"),
            plain(calculation.within),
            percent(calculation.single_slip_share)
        );
        if !calculation.figures.is_zero() {
            let taken = percent(calculation.figures);
            words.push_str(&format!(
                "; {taken} % less where it has two or more figures too few"
            ));
        }
        parts.push(("Calculation", words));
    }
    if let Some(points) = marking.by_hand {
        let points = counted(plain(points), "point", "points");
        parts.push(("By hand", format!("{points} that an assistant gives")));
    }
    if let Some(late) = &marking.late {
        let grace = match late.grace_hours.is_zero() {
            true => "from the due time on".to_owned(),
            false => {
                let hours = counted(plain(late.grace_hours), "hour", "hours");
                format!("after {hours} of grace")
            }
        };
        let words = format!(
            "{grace}, {} % of the points are lost per started day; {} % are kept however late",
            percent(late.share_per_day),
            percent(late.floor)
        );
        parts.push(("Late", words));
    }
    let possible = counted(plain(marking.possible()), "point", "points");
    parts.push(("In all", possible));
    parts
}

fn scored(scored: &Scored, measure: &str) -> String {
    let points = plain(scored.points);
    match &scored.scale {
        Scale::Ramp {
            full_within,
            zero_from,
        } => format!(
            "{points} points up to a {measure} of {} %, falling evenly to none at {} %",
            plain(*full_within),
            plain(*zero_from)
        ),
        Scale::Steps(steps) => {
            let steps: Vec<String> = steps
                .iter()
                .map(|(limit, points)| format!("{} up to {} %", plain(*points), plain(*limit)))
                .collect();
            format!("points by {measure}: {}", steps.join(", "))
        }
    }
}

fn percent(share: Decimal) -> String {
    plain(share.saturating_mul(Decimal::ONE_HUNDRED))
}
