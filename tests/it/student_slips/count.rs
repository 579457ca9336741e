//! How many mistakes of invented students are named, by scheme and slip. `CONCORDANT_LONG=1` invents many more and
//! prints the table.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rayon::prelude::*;

use super::course::{Graded, grade};
use super::{Answer, CODES, LABS, Lab, Sheet, Standing};

/// A mistake that moves the answer by more than this, percent, is one that an instructor sees.
const PLAIN: f64 = 2.0;
const GROUPS: usize = 16;

/// How answers with one mistake fared.
#[derive(Debug, Default)]
struct Tally {
    made: usize,
    /// Put forward.
    named: usize,
    /// Put forward, or among two candidates at most.
    seen: usize,
    share: usize,
    /// The first that was not seen, and the first without a share.
    unseen: Option<String>,
    without: Option<String>,
}

/// By scheme and slip, those that move the answer plainly apart from the others.
type Tallies = BTreeMap<(&'static str, &'static str, bool), Tally>;

#[derive(Default)]
struct Counted {
    slips: Tallies,
    /// Numbers that are no slip, and those of them that were named or kept a share.
    others: usize,
    accused: usize,
}

impl Tally {
    fn count(&mut self, sheet: &Sheet, answer: &Answer, graded: &Graded) {
        let codes = sheet.codes_of(answer);
        let is_one = |code: &String| codes.contains(&code.as_str());
        let named = graded.named.as_ref().is_some_and(is_one);
        let few = graded.candidates.len() <= 2 && graded.candidates.iter().any(is_one);
        self.made += 1;
        self.named += usize::from(named);
        self.seen += usize::from(named || few);
        self.share += usize::from(graded.has_share());
        let example = || {
            let (text, right) = (&answer.text, sheet.right);
            let (named, listed) = (&graded.named, &graded.candidates);
            format!("{text} for {right:.5}, named {named:?}, listed {listed:?}")
        };
        if !named && !few {
            self.unseen.get_or_insert_with(example);
        }
        if !graded.has_share() {
            self.without.get_or_insert_with(example);
        }
    }

    fn add(&mut self, other: Self) {
        self.made += other.made;
        self.named += other.named;
        self.seen += other.seen;
        self.share += other.share;
        self.unseen = self.unseen.take().or(other.unseen);
        self.without = self.without.take().or(other.without);
    }
}

impl Counted {
    fn add(mut self, other: Self) -> Self {
        for (key, tally) in other.slips {
            self.slips.entry(key).or_default().add(tally);
        }
        self.others += other.others;
        self.accused += other.accused;
        self
    }
}

/// A number 4 to 20 % off that none of the mistakes gives.
fn no_slip(sheet: &Sheet, lab: &Lab, rng: &mut ChaCha20Rng) -> Answer {
    loop {
        let off = rng.random_range(0.04..0.20);
        let factor = if rng.random_bool(0.5) {
            1.0 + off
        } else {
            1.0 - off
        };
        let answer = Answer::new(sheet.right * factor, lab.figures[1]);
        let near = |given: f64| (given / answer.value - 1.0).abs() < 0.01;
        if !sheet.all().any(|wrong| near(wrong.answer)) {
            return answer;
        }
    }
}

/// One course of invented groups.
fn course(lab: &Lab, seed: u64) -> Counted {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let mut groups = Vec::new();
    let mut made = Vec::new();
    for _ in 0..GROUPS {
        let sheet = (lab.invented)(&mut rng);
        let mut cases = Vec::new();
        for wrong in &sheet.wrong {
            let answer = Answer::new(wrong.answer, lab.figures[rng.random_range(0..2)]);
            // a number below zero is refused as it is entered
            let entered = wrong.answer > 0.0;
            if entered && answer.standing(sheet.right, lab.within) == Standing::Wrong {
                let moved = (wrong.answer / sheet.right - 1.0).abs() * 100.0;
                cases.push((Some((wrong.code, moved > PLAIN)), answer));
            }
        }
        for _ in 0..3 {
            cases.push((None, no_slip(&sheet, lab, &mut rng)));
        }
        let answers = cases.iter().map(|(_, answer)| answer.text.clone());
        groups.push((sheet.clone(), answers.collect()));
        made.push((sheet, cases));
    }
    let mut counted = Counted::default();
    for ((sheet, cases), graded) in made.iter().zip(grade(lab, &groups)) {
        for ((mistake, answer), graded) in cases.iter().zip(graded) {
            if let Some((code, plain)) = *mistake {
                let tally = counted.slips.entry((lab.key, code, plain)).or_default();
                tally.count(sheet, answer, &graded);
            } else {
                counted.others += 1;
                counted.accused += usize::from(graded.named.is_some() || graded.has_share());
            }
        }
    }
    counted
}

fn print(counted: &Counted) {
    println!("scheme, slip, size: made, put forward, that or one of two, share kept");
    for ((lab, code, plain), tally) in &counted.slips {
        let size = if *plain { "plain" } else { "small" };
        let (made, named) = (tally.made, tally.named);
        let (seen, share) = (tally.seen, tally.share);
        println!("{lab}, {code}, {size}: {made}, {named}, {seen}, {share}");
    }
    let (others, accused) = (counted.others, counted.accused);
    println!("{accused} of {others} numbers that are no slip were taken for one");
}

static COUNTED: LazyLock<Counted> = LazyLock::new(|| {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let courses = if long { 20 } else { 1 };
    let seeds: Vec<(&Lab, u64)> = LABS
        .iter()
        .flat_map(|lab| (0..courses).map(move |course| (*lab, 20_261_130 + course)))
        .collect();
    let counted = seeds
        .into_par_iter()
        .map(|(lab, seed)| course(lab, seed))
        .reduce(Counted::default, Counted::add);
    if long {
        print(&counted);
    }
    counted
});

/// Mistakes that an instructor sees, by scheme and slip.
fn plain() -> impl Iterator<Item = (&'static str, &'static str, &'static Tally)> {
    let plain = COUNTED.slips.iter().filter(|((_, _, plain), _)| *plain);
    plain.map(|((lab, code, _), tally)| (*lab, *code, tally))
}

/// Nine in ten; of few, all but one.
fn suffice(n: usize, made: usize) -> bool {
    made - n <= (made / 10).max(1)
}

#[test]
fn every_slip_is_made_plainly() {
    for code in CODES {
        let tallies = plain().filter(|(_, c, _)| *c == code);
        let made: usize = tallies.map(|(_, _, tally)| tally.made).sum();
        assert!(made >= 10, "{code} was made {made} times");
    }
}

/// Of mistakes that an instructor sees, nine in ten are named or among two at most, whatever the scheme.
// not met yet, see `named`
#[test]
#[should_panic]
fn plain_mistakes_are_named_or_among_two() {
    let few = plain().filter(|(_, _, tally)| !suffice(tally.seen, tally.made));
    let lines: Vec<String> = few
        .map(|(lab, code, tally)| {
            let example = tally.unseen.as_deref().unwrap_or_default();
            let (seen, made) = (tally.seen, tally.made);
            format!("{lab}, {code}: {seen} of {made}, such as {example}")
        })
        .collect();
    assert!(lines.is_empty(), "{}", lines.join("\n"));
}

/// Of the same, nine in ten keep the share of a single slip, whether or not it is told from another.
// not met yet, see `named`
#[test]
#[should_panic]
fn plain_mistakes_keep_the_share() {
    let few = plain().filter(|(_, _, tally)| !suffice(tally.share, tally.made));
    let lines: Vec<String> = few
        .map(|(lab, code, tally)| {
            let example = tally.without.as_deref().unwrap_or_default();
            let (share, made) = (tally.share, tally.made);
            format!("{lab}, {code}: {share} of {made}, such as {example}")
        })
        .collect();
    assert!(lines.is_empty(), "{}", lines.join("\n"));
}

/// One in twenty may fall on a prediction by chance.
#[test]
fn numbers_that_are_no_slip_are_not_taken_for_one() {
    let (others, accused) = (COUNTED.others, COUNTED.accused);
    assert!(accused * 20 <= others, "{accused} of {others}");
}
