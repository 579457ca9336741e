//! Whatever bytes come: no parser and no form panics, and none takes longer than the length of what came allows.
//!
//! Inputs are made from real ones: cut, put together, doubled, with signs in them that mean something somewhere. By default
//! a few thousand of each sort; with `CONCORDANT_LONG=1` ten million in all, of which a table is printed. Built with
//! optimisation that takes minutes, without it an hour.

mod forms;
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use crate::properties::long;

/// What is allowed for each 100 KiB begun.
const ALLOWED: Duration = Duration::from_millis(50);
const LONG_INPUT: usize = 100 * 1024;
/// Without optimisation everything takes so many times as long.
const SLOWER: u32 = if cfg!(debug_assertions) { 20 } else { 1 };

/// What mutations put in: signs that mean something to one of the parsers.
const SIGNS: [&[u8]; 40] = [
    b",",
    b";",
    b"\t",
    b"\"",
    b"\"\"",
    b"'",
    b"\n",
    b"\r\n",
    b"\r",
    b"\0",
    b"=",
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"(",
    b")",
    b"->",
    b"^2+",
    b".",
    b"-",
    b"+",
    b"e99",
    b"1e-30",
    b"#",
    b"%",
    b"&",
    b"%00",
    b"\xff",
    b"\xef\xbb\xbf",
    "\u{2212}".as_bytes(),
    "\u{202e}".as_bytes(),
    "\u{1f9ea}".as_bytes(),
    b"9999999999999999999999999999",
    b"0.0000000000000000000000000001",
    b"../",
    b"sep=;",
    b"\\u0000",
    b"T00:00:00",
];

/// A parser, whatever it makes of the bytes.
type Parse = Box<dyn Fn(&[u8])>;

/// A parser, inputs that it takes, and how many are made of them in a long run.
pub struct Target {
    pub name: &'static str,
    pub seeds: Vec<Vec<u8>>,
    pub inputs: u32,
    pub parse: Parse,
}

/// Of a target: how many inputs, the longest time that one took for each 100 KiB begun, how many took too long or
/// panicked, and the worst of these.
struct Row {
    name: &'static str,
    inputs: u32,
    slowest: Duration,
    wrong: u32,
    worst: Option<String>,
}

pub fn mutated(rng: &mut ChaCha8Rng, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = seeds[rng.random_range(0..seeds.len())].clone();
    for _ in 0..rng.random_range(0..5) {
        let at = rng.random_range(0..=bytes.len());
        let to = (at + rng.random_range(0..12)).min(bytes.len());
        match rng.random_range(0..7) {
            0 => drop(bytes.splice(at..to, [])),
            1 => drop(bytes.splice(at..to, SIGNS[rng.random_range(0..SIGNS.len())].to_vec())),
            2 => drop(bytes.splice(at..at, SIGNS[rng.random_range(0..SIGNS.len())].to_vec())),
            3 => {
                let part = bytes[at..to].repeat(rng.random_range(1..9));
                bytes.splice(at..to, part);
            }
            4 => {
                let other = &seeds[rng.random_range(0..seeds.len())];
                let from = rng.random_range(0..=other.len());
                bytes.splice(at.., other[from..].iter().copied());
            }
            5 if at < bytes.len() => bytes[at] = rng.random(),
            _ => bytes.truncate(at),
        }
    }
    bytes
}

/// An input of some 100 KiB: whole ones after each other, or one sign or a part of one again and again.
fn long_input(rng: &mut ChaCha8Rng, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = mutated(rng, seeds);
    match rng.random_range(0..3) {
        0 => {
            while bytes.len() < LONG_INPUT {
                let more = mutated(rng, seeds);
                bytes.extend(if more.is_empty() { b" ".to_vec() } else { more });
            }
        }
        which => {
            let at = rng.random_range(0..=bytes.len());
            let to = (at + rng.random_range(1..60)).min(bytes.len());
            let part = match which {
                1 if at < to => bytes[at..to].to_vec(),
                _ => SIGNS[rng.random_range(0..SIGNS.len())].to_vec(),
            };
            let times = LONG_INPUT / part.len();
            bytes.splice(at..at, part.repeat(times));
        }
    }
    bytes.truncate(LONG_INPUT);
    bytes
}

/// CPU that this thread has used: other work on the machine is not the parser's.
fn used() -> Duration {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux");
    let nanoseconds = text.split(' ').next().expect("a figure").parse();
    Duration::from_nanos(nanoseconds.expect("a number"))
}

/// CPU that all threads of this process have used, to some hundredths of a second.
pub fn used_by_all() -> Duration {
    let text = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    let after_name = text.rsplit(") ").next().expect("fields");
    let ticks = after_name.split(' ').skip(11).take(2);
    let ticks: u64 = ticks.map(|n| n.parse::<u64>().expect("a number")).sum();
    Duration::from_millis(10 * ticks)
}

/// The shortest of some tries.
fn timed(bytes: &[u8], parse: &dyn Fn(&[u8])) -> Duration {
    let mut shortest = Duration::MAX;
    for _ in 0..5 {
        let before = used();
        parse(bytes);
        shortest = shortest.min(used().saturating_sub(before));
        if shortest < ALLOWED / 2 {
            break;
        }
    }
    shortest
}

fn tried(target: &Target) -> Row {
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_914);
    let inputs = if long() {
        target.inputs
    } else {
        (target.inputs / 2_000).max(40)
    };
    let long_inputs = (inputs / 50).clamp(4, 400);
    let mut row = Row {
        name: target.name,
        inputs,
        slowest: Duration::ZERO,
        wrong: 0,
        worst: None,
    };
    for number in 0..inputs {
        let is_long = number % (inputs / long_inputs) == 0;
        let bytes = match is_long {
            true => long_input(&mut rng, &target.seeds),
            false => mutated(&mut rng, &target.seeds),
        };
        row.take(&bytes, &*target.parse);
    }
    row
}

impl Row {
    fn take(&mut self, bytes: &[u8], parse: &dyn Fn(&[u8])) {
        let parts = u32::try_from(bytes.len().div_ceil(LONG_INPUT).max(1)).expect("is small");
        let parsed = catch_unwind(AssertUnwindSafe(|| timed(bytes, parse)));
        let took = parsed.as_ref().map_or(Duration::MAX, |took| *took / parts);
        if took > ALLOWED * SLOWER {
            self.wrong += 1;
            if took > self.slowest {
                let shown = String::from_utf8_lossy(&bytes[..bytes.len().min(2_000)]);
                let how = match parsed {
                    Ok(_) => format!("{took:?}"),
                    Err(_) => "a panic".to_owned(),
                };
                self.worst = Some(format!("{how} for {} bytes: {shown:?}", bytes.len()));
            }
        }
        self.slowest = self.slowest.max(took);
    }
}

#[test]
fn every_parser_takes_whatever_comes() {
    let targets = targets::all();
    println!(
        "| parser | inputs | ms per 100 KiB at most | too slow or a panic |\n|---|---|---|---|"
    );
    let shown = |row: Row| {
        let slowest = row.slowest.as_secs_f64() * 1e3;
        println!(
            "| {} | {} | {slowest:.1} | {} |",
            row.name, row.inputs, row.wrong
        );
        row
    };
    let rows: Vec<Row> = targets.iter().map(tried).map(shown).collect();
    let inputs: u32 = rows.iter().map(|row| row.inputs).sum();
    println!("{inputs} inputs");
    let wrong: Vec<String> = rows
        .iter()
        .filter_map(|row| Some(format!("{}: {}", row.name, row.worst.as_ref()?)))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(rows.len() >= 30 && (!long() || inputs >= 10_000_000));
}
