//! The tables `marking` and `trials` of a procedure, or of an experiment that replaces its procedure's.

use rust_decimal::Decimal;

use crate::judge::{
    AgreementMeasure, AgreementPart, CalculationPart, Late, Marking, Scale, Scored,
};
use crate::procedure::{Accept, TrialRules};
use crate::stats::{DixonCritical, DixonLevel};
use crate::text::{Fault, Section, Toml, found};

/// Reads the body of a `marking` table.
pub fn read_marking(file: &str, text: &str) -> Result<Marking, Vec<Fault>> {
    Toml::read(file, text, |root| marking(&root))
}

/// Reads the body of a `trials` table.
pub fn read_trials(file: &str, text: &str) -> Result<TrialRules, Vec<Fault>> {
    Toml::read(file, text, |root| trials(&root))
}

/// The body of a `marking` table.
pub fn write_marking(marking: &Marking) -> String {
    let mut text = String::new();
    let mut line = |key: &str, parts: &[String]| {
        text.push_str(&format!("{key} = {{ {} }}\n", parts.join(", ")));
    };
    if let Some(accuracy) = &marking.accuracy {
        line("accuracy", &written_scored(accuracy));
    }
    if let Some(agreement) = &marking.agreement {
        let mut parts = written_scored(&agreement.scored);
        if agreement.measure == AgreementMeasure::RelativeS {
            parts.insert(1, "measure = \"relative-s\"".to_owned());
        }
        line("agreement", &parts);
    }
    if let Some(points) = marking.recording {
        line("recording", &[number("points", points)]);
    }
    if let Some(part) = &marking.calculation {
        let parts = [
            number("points", part.points),
            number("within", part.within),
            number("single_slip_share", part.single_slip_share),
        ];
        let figures = (!part.figures.is_zero()).then(|| number("figures", part.figures));
        let parts: Vec<String> = parts.into_iter().chain(figures).collect();
        line("calculation", &parts);
    }
    if let Some(points) = marking.by_hand {
        line("by_hand", &[number("points", points)]);
    }
    if let Some(late) = &marking.late {
        let parts = [
            number("grace_hours", late.grace_hours),
            number("share_per_day", late.share_per_day),
            number("floor", late.floor),
        ];
        line("late", &parts);
    }
    if marking.forgive_carried_error {
        text.push_str("forgive_carried_error = true\n");
    }
    text
}

fn number(key: &str, value: Decimal) -> String {
    format!("{key} = \"{value}\"")
}

fn written_scored(scored: &Scored) -> Vec<String> {
    let scale = match &scored.scale {
        Scale::Ramp {
            full_within,
            zero_from,
        } => format!(
            "ramp = {{ {}, {} }}",
            number("full_within", *full_within),
            number("zero_from", *zero_from)
        ),
        Scale::Steps(steps) => {
            let steps = steps
                .iter()
                .map(|(limit, points)| format!("[\"{limit}\", \"{points}\"]"));
            format!("steps = [{}]", steps.collect::<Vec<_>>().join(", "))
        }
    };
    vec![number("points", scored.points), scale]
}

/// The body of a `trials` table.
pub fn write_trials(rules: &TrialRules) -> String {
    let accept = match rules.accept {
        Accept::All => "rule = \"all\"".to_owned(),
        Accept::Concordant { within } => {
            format!("rule = \"concordant\", {}", number("within_mL", within))
        }
        Accept::Dixon {
            level,
            from,
            critical,
        } => {
            let table = match critical {
                DixonCritical::Exact => "exact",
                DixonCritical::Rorabacher => "rorabacher",
            };
            let level = level.percent();
            format!("rule = \"dixon\", level = \"{level}\", from = {from}, table = \"{table}\"")
        }
    };
    format!(
        "minimum = {}\nblank = {}\nprompt_decimals = {}\naccept = {{ {accept} }}\n",
        rules.minimum, rules.blank, rules.prompt_decimals
    )
}

/// The parts of a marking, checked.
pub(super) fn marking(section: &Section) -> Option<Marking> {
    section.only(&[
        "accuracy",
        "agreement",
        "recording",
        "calculation",
        "by_hand",
        "by-hand",
        "late",
        "forgive_carried_error",
    ]);
    let before = section.faults();
    let by_hand = match (section.has("by_hand"), section.has("by-hand")) {
        (true, true) => {
            section.fault("by-hand", "found by_hand as well, expected one of the two");
            None
        }
        (false, true) => points_only(section, "by-hand"),
        _ => points_only(section, "by_hand"),
    };
    let marking = Marking {
        accuracy: section
            .table("accuracy", |part| {
                part.only(&["points", "ramp", "steps"]);
                scored(&part)
            })
            .flatten(),
        agreement: section
            .table("agreement", |part| agreement(&part))
            .flatten(),
        recording: points_only(section, "recording"),
        calculation: section
            .table("calculation", |part| calculation(&part))
            .flatten(),
        by_hand,
        late: section.table("late", |part| late(&part)).flatten(),
        forgive_carried_error: section.boolean_or("forgive_carried_error", false),
    };
    if section.faults() > before {
        return None;
    }
    match marking.check() {
        Ok(()) => Some(marking),
        Err(faults) => {
            for fault in faults {
                section.fault(&fault.key, fault.what);
            }
            None
        }
    }
}

fn points_only(section: &Section, key: &str) -> Option<Decimal> {
    section
        .table(key, |part| {
            part.only(&["points"]);
            part.number("points")
        })
        .flatten()
}

fn agreement(part: &Section) -> Option<AgreementPart> {
    part.only(&["points", "measure", "ramp", "steps"]);
    let measure = part.parsed_if_any("measure", |text| match text {
        "range" => Ok(AgreementMeasure::Range),
        "relative-s" => Ok(AgreementMeasure::RelativeS),
        other => Err(found(other, "range or relative-s")),
    });
    Some(AgreementPart {
        scored: scored(part)?,
        measure: measure.unwrap_or_default(),
    })
}

fn scored(part: &Section) -> Option<Scored> {
    let points = part.number("points");
    let scale = match (part.has("ramp"), part.has("steps")) {
        (true, false) => part
            .table("ramp", |ramp| {
                ramp.only(&["full_within", "zero_from"]);
                let (full_within, zero_from) =
                    (ramp.number("full_within"), ramp.number("zero_from"));
                Some(Scale::Ramp {
                    full_within: full_within?,
                    zero_from: zero_from?,
                })
            })
            .flatten(),
        (false, true) => part.pairs("steps").map(Scale::Steps),
        (both, _) => {
            let there = if both {
                "both ramp and steps"
            } else {
                "neither ramp nor steps"
            };
            part.fault("", format!("found {there}, expected one of the two"));
            None
        }
    };
    Some(Scored {
        points: points?,
        scale: scale?,
    })
}

fn calculation(part: &Section) -> Option<CalculationPart> {
    part.only(&["points", "within", "single_slip_share", "figures"]);
    let points = part.number("points");
    let within = part.number_or("within", Decimal::new(5, 1));
    let share = part.number_or("single_slip_share", Decimal::ZERO);
    let figures = part.number_or("figures", Decimal::ZERO);
    Some(CalculationPart {
        points: points?,
        within: within?,
        single_slip_share: share?,
        figures: figures?,
    })
}

fn late(part: &Section) -> Option<Late> {
    part.only(&["grace_hours", "share_per_day", "floor"]);
    let grace = part.number_or("grace_hours", Decimal::ZERO);
    let (share, floor) = (
        part.number("share_per_day"),
        part.number_or("floor", Decimal::ZERO),
    );
    Some(Late {
        grace_hours: grace?,
        share_per_day: share?,
        floor: floor?,
    })
}

/// How many trials, and which count.
pub(super) fn trials(section: &Section) -> Option<TrialRules> {
    section.only(&["minimum", "blank", "accept", "prompt_decimals"]);
    let minimum = section.whole("minimum", 1..=20);
    let blank = section.boolean_or("blank", false);
    let prompt_decimals = section.boolean_or("prompt_decimals", true);
    let accept = section.needed("accept", |accept| read_accept(&accept));
    Some(TrialRules {
        minimum: minimum?,
        blank,
        accept: accept?,
        prompt_decimals,
    })
}

fn read_accept(section: &Section) -> Option<Accept> {
    match section.text("rule")?.as_str() {
        "all" => {
            section.only(&["rule"]);
            Some(Accept::All)
        }
        "concordant" => {
            section.only(&["rule", "within_mL"]);
            let within = section.number("within_mL")?;
            if within <= Decimal::ZERO {
                section.fault(
                    "within_mL",
                    format!("found {within}, expected a number above 0"),
                );
                return None;
            }
            Some(Accept::Concordant { within })
        }
        "dixon" => {
            section.only(&["rule", "level", "from", "table"]);
            let level = section.parsed("level", |text| {
                let level = text.trim().parse().ok().and_then(DixonLevel::from_percent);
                level.ok_or_else(|| found(text, "90, 95 or 99"))
            });
            let from = if section.has("from") {
                section.whole("from", 3..=20)
            } else {
                Some(4)
            };
            let critical = if section.has("table") {
                section.parsed("table", |text| match text {
                    "exact" => Ok(DixonCritical::Exact),
                    "rorabacher" => Ok(DixonCritical::Rorabacher),
                    other => Err(found(other, "exact or rorabacher")),
                })
            } else {
                Some(DixonCritical::default())
            };
            Some(Accept::Dixon {
                level: level?,
                from: from? as usize,
                critical: critical?,
            })
        }
        other => {
            section.fault("rule", found(other, "all, concordant or dixon"));
            None
        }
    }
}
