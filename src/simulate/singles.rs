//! Careful students one by one, each with one slip made on purpose or none, and whether the judgement names it.
//!
//! What can be told apart at all is decided here, by what was really done and by the sums of [`super::arithmetic`].

use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;
use rayon::prelude::*;

use super::arithmetic::Notebook;
use super::hands::{Care, Hands, Population};
use super::mistakes::Mistake;
use super::slips::Rehearsal;
use super::table::{Counts, Kind, add, count};
use crate::columns::Column;
use crate::judge::{Evaluation, FlagCode, Part, SlipCode, evaluate};
use crate::measure::as_f64;
use crate::procedure::{Accept, Procedure};
use crate::submission::{Delivery, HandIn};

/// Slips made in one trial.
pub const IN_ONE_TRIAL: [Mistake; 3] = [
    Mistake::WholeMillilitre,
    Mistake::ReadUpward,
    Mistake::TransposedDigits,
];
/// Mistakes in the sum that are always named.
pub const IN_THE_SUM: [Mistake; 2] = [Mistake::DilutionOmitted, Mistake::MillilitresAsLitres];
/// Mistakes that are named where they can be told from everything else.
pub const TOLD_APART: [Mistake; 4] = [
    Mistake::WrongSpecies,
    Mistake::AllReadUpward,
    Mistake::WrongPipette,
    Mistake::BothNominal,
];

/// Trials of which one goes wrong, where the procedure does not ask for more.
const TRIALS: u32 = 3;
/// How near titres have to be where the procedure has no rule, mL (common practice).
const AGREEMENT: f64 = 0.10;
/// How often a student is drawn again who is not careful, or whose slip does not show.
const TRIES: usize = 40;
/// Answers that lie nearer are alike, relative.
const ALIKE: f64 = 0.001;
/// How near the result of a careful student may be to another explanation of it, relative.
const NEAR: f64 = 0.02;
/// How often another mistake is tried in each of its forms.
const FORMS: usize = 6;

/// That many students for each slip. The same seed gives the same students. None where the procedure cannot be carried
/// out.
pub fn singles(
    procedure: &Procedure,
    population: Population,
    students: usize,
    seed: u64,
) -> Option<Counts> {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let class = Singles {
        rehearsal: Rehearsal::make(procedure, population, &mut rng)?,
        procedure,
        population,
    };
    let one = |number: u64| {
        let number = seed.wrapping_mul(1_000_003).wrapping_add(number);
        let rng = &mut ChaCha20Rng::seed_from_u64(number);
        let mut counts = Counts::new();
        for mistake in IN_ONE_TRIAL {
            (0..TRIES).find_map(|_| class.in_one_trial(mistake, &mut counts, rng));
        }
        for mistake in IN_THE_SUM {
            class.in_the_sum(mistake, &mut counts, rng);
        }
        for mistake in TOLD_APART {
            class.told_apart(mistake, &mut counts, rng);
        }
        class.clean(&mut counts, rng);
        counts
    };
    let each: Vec<Counts> = (0..students as u64).into_par_iter().map(one).collect();
    let mut sum = Counts::new();
    each.iter().for_each(|counts| add(&mut sum, counts));
    Some(sum)
}

struct Singles<'p> {
    rehearsal: Rehearsal<'p>,
    procedure: &'p Procedure,
    population: Population,
}

impl Singles<'_> {
    fn clean(&self, counts: &mut Counts, rng: &mut ChaCha20Rng) -> Option<()> {
        let hands = self.hands(rng)?;
        let (bottle, hand_in) = self.rehearsal.titrated(None, &hands, rng)?;
        let hand_in = self.rehearsal.answered(None, bottle, hand_in, rng)?;
        count(
            counts,
            Kind::CleanSlip,
            likely(&self.judge(bottle, &hand_in)),
        );
        Some(())
    }

    /// None where it cannot be made, or does not show beside the other trials.
    fn in_one_trial(
        &self,
        mistake: Mistake,
        counts: &mut Counts,
        rng: &mut ChaCha20Rng,
    ) -> Option<()> {
        let hands = Hands {
            trials: self.procedure.trials.minimum.max(TRIALS),
            rough: false,
            ..self.hands(rng)?
        };
        let (bottle, right) = self.rehearsal.titrated(None, &hands, rng)?;
        let wrong = mistake.misread(self.procedure, &right, rng)?;
        let trial = moved(&right, &wrong, self.agreement())?;
        if self.spread(bottle, &right, Some(trial))? > self.agreement() {
            return None;
        }
        let hand_in = self.rehearsal.answered(None, bottle, wrong, rng)?;
        let named = names_in_trial(&self.judge(bottle, &hand_in), mistake.slip()?, trial);
        count(counts, Kind::InOneTrial(mistake), named);
        Some(())
    }

    fn in_the_sum(
        &self,
        mistake: Mistake,
        counts: &mut Counts,
        rng: &mut ChaCha20Rng,
    ) -> Option<()> {
        let hands = self.hands(rng)?;
        let (bottle, hand_in) = self.rehearsal.titrated(None, &hands, rng)?;
        let hand_in = self
            .rehearsal
            .answered(Some(mistake), bottle, hand_in, rng)?;
        let judged = self.judge(bottle, &hand_in);
        count(counts, Kind::InTheSum(mistake), names(&judged, mistake));
        if let Some(given) = share_given(self.procedure, &judged) {
            count(counts, Kind::ShareGiven(mistake), given);
        }
        Some(())
    }

    fn told_apart(
        &self,
        mistake: Mistake,
        counts: &mut Counts,
        rng: &mut ChaCha20Rng,
    ) -> Option<()> {
        let hands = self.hands(rng)?;
        let (bottle, right) = self.rehearsal.titrated(Some(mistake), &hands, rng)?;
        let hand_in = if mistake == Mistake::AllReadUpward {
            mistake.misread(self.procedure, &right, rng)?
        } else {
            right.clone()
        };
        let in_the_sum = Some(mistake).filter(|mistake| !mistake.is_at_the_bench());
        let hand_in = self.rehearsal.answered(in_the_sum, bottle, hand_in, rng)?;
        let apart = match mistake {
            Mistake::AllReadUpward => {
                self.spread(bottle, &right, None)? <= self.agreement()
                    && self.spread(bottle, &hand_in, None)? > self.agreement()
            }
            Mistake::WrongPipette => self.is_no_other_bottle(bottle, &hand_in)?,
            _ => self.is_no_other_sum(mistake, bottle, &hand_in, rng)?,
        };
        if apart {
            let named = names(&self.judge(bottle, &hand_in), mistake);
            count(counts, Kind::ToldApart(mistake), named);
        }
        Some(())
    }

    fn hands(&self, rng: &mut ChaCha20Rng) -> Option<Hands> {
        let mut drawn = (0..TRIES).map(|_| self.population.hands(self.procedure, rng));
        drawn.find(|hands| hands.care == Care::Careful)
    }

    fn judge(&self, bottle: usize, hand_in: &HandIn) -> Evaluation {
        evaluate(&self.rehearsal.case(hand_in, bottle))
    }

    fn agreement(&self) -> f64 {
        match self.procedure.trials.accept {
            Accept::Concordant { within } => as_f64(within),
            Accept::All | Accept::Dixon { .. } => AGREEMENT,
        }
    }

    /// Range of the results of the numbered trials but one, as the titre that makes as much of a difference, mL.
    fn spread(&self, bottle: usize, hand_in: &HandIn, but: Option<u32>) -> Option<f64> {
        let results = |hand_in: &HandIn| {
            let case = self.rehearsal.case(hand_in, bottle);
            Notebook::of(&case).results()
        };
        let (rows, further) = (results(hand_in), results(&further(hand_in)?));
        let one = rows.first()?;
        let other = further.iter().find(|(trial, _)| *trial == one.0)?;
        let per_millilitre = (other.1 - one.1).abs();
        let rows = rows.iter().filter(|(trial, _)| Some(*trial) != but);
        let all: Vec<f64> = rows.map(|(_, result)| *result).collect();
        let most = all.iter().copied().reduce(f64::max)?;
        let least = all.iter().copied().reduce(f64::min)?;
        Some((most - least) / per_millilitre).filter(|spread| spread.is_finite())
    }

    /// Whether the result is that of no other bottle and of no other lot.
    fn is_no_other_bottle(&self, bottle: usize, hand_in: &HandIn) -> Option<bool> {
        let result = as_f64(hand_in.reported.as_ref()?.value());
        let explanations = self.rehearsal.other_results(bottle);
        let near = |other: f64| (other / result - 1.0).abs() < NEAR;
        Some(!explanations.into_iter().any(near))
    }

    /// Whether the answer is off, and that of no other mistake in the sum.
    fn is_no_other_sum(
        &self,
        mistake: Mistake,
        bottle: usize,
        hand_in: &HandIn,
        rng: &mut ChaCha20Rng,
    ) -> Option<bool> {
        let case = self.rehearsal.case(hand_in, bottle);
        let notebook = Notebook::of(&case);
        let answer = as_f64(hand_in.reported.as_ref()?.value());
        let right = as_f64(notebook.answer(None, rng)?.value());
        let within = self.procedure.marking.calculation.as_ref();
        let within = within.map_or(0.0, |part| as_f64(part.within) / 100.0);
        let off = (answer / right - 1.0).abs();
        let others = Mistake::ALL
            .into_iter()
            .filter(|other| !other.is_at_the_bench() && *other != mistake);
        for other in others {
            for _ in 0..FORMS {
                let alike = notebook.answer(Some(other), rng);
                let alike = alike.map_or(f64::MAX, |other| as_f64(other.value()) / answer - 1.0);
                if alike.abs() < ALIKE {
                    return Some(false);
                }
            }
        }
        Some(off > within.max(ALIKE))
    }
}

/// The trial whose titre is not what it was, by more than so many mL.
fn moved(right: &HandIn, wrong: &HandIn, agreement: f64) -> Option<u32> {
    let titre = |(trial, row): (u32, &crate::submission::Titration)| {
        let delivered = Delivery::BOTH
            .into_iter()
            .flat_map(|delivery| row.pieces(delivery));
        let delivered =
            delivered.map(|piece| as_f64(piece.end.value()) - as_f64(piece.start.value()));
        (trial, delivered.sum::<f64>())
    };
    let mut pairs = right.numbered().map(titre).zip(wrong.numbered().map(titre));
    let moved = pairs.find(|(right, wrong)| (right.1 - wrong.1).abs() > agreement)?;
    Some(moved.0.0)
}

/// The same where every titration ends a millilitre further down.
fn further(hand_in: &HandIn) -> Option<HandIn> {
    let mut further = hand_in.clone();
    for row in &mut further.titrations {
        let (_, end) = Column::piece(Delivery::First, row.fillings().max(1));
        let reading = row.readings.get_mut(&end)?;
        let down = reading.value().checked_add(rust_decimal::Decimal::ONE)?;
        *reading = super::mistakes::written(down, reading.decimals())?;
    }
    Some(further)
}

/// Whether a slip is told at all.
fn likely(judged: &Evaluation) -> bool {
    let mut flags = judged.flags.iter();
    flags.any(|flag| flag.code == FlagCode::LikelySlip)
}

/// Whether the evidence of a slip names it and the trial.
fn names_in_trial(judged: &Evaluation, slip: SlipCode, trial: u32) -> bool {
    let mut flags = judged.flags.iter();
    flags.any(|flag| {
        let words = flag
            .evidence
            .split(|letter: char| !letter.is_ascii_alphanumeric());
        let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
        let mut pairs = words.windows(2);
        flag.code == FlagCode::LikelySlip
            && flag.evidence.contains(slip.words())
            && pairs.any(|pair| pair == ["trial", trial.to_string().as_str()])
    })
}

/// Whether it is put forward. Of a factor of a thousand nobody can say whether volumes or masses were taken for others.
fn names(judged: &Evaluation, mistake: Mistake) -> bool {
    let likely_codes = judged
        .explanations()
        .map(|slips| slips.likely().map(|slip| slip.code));
    let thousand = mistake == Mistake::MillilitresAsLitres;
    let fits =
        |code: SlipCode| Some(code) == mistake.slip() || thousand && code == SlipCode::UnitSlip;
    likely(judged) && likely_codes.into_iter().flatten().any(fits)
}

/// Whether there are as many points for the answer as a single slip leaves, or more. None without such points.
fn share_given(procedure: &Procedure, judged: &Evaluation) -> Option<bool> {
    let rules = procedure.marking.calculation.as_ref()?;
    let part = judged.marks.part(Part::Calculation)?;
    let share = as_f64(part.possible) * as_f64(rules.single_slip_share);
    // points are given to a tenth
    Some(as_f64(part.points) >= share - 0.05)
}
