//! NIST Statistical Reference Datasets, univariate summary statistics: mean and s (n − 1) to the certified digits.
//!
//! https://www.itl.nist.gov/div898/strd/univ/homepage.html

use super::digits;
use crate::reference::{dec, f};
use concordant::stats::{Replicates, mean_and_s};
use rust_decimal::Decimal;

/// A set's certified mean and s, and how many digits of that s doubles reach; decimals reach all 15 of every one.
struct Certified {
    mean: &'static str,
    s: f64,
    s_of_doubles: f64,
}

/// Holds both ways of summing up to a set, and says what came out where it does not.
fn check(values: &[Decimal], certified: &Certified) {
    let sum = Replicates::of(values).expect("values");
    let mean = sum.mean.round_sf(15).expect("15 figures");
    assert_eq!(mean, dec(certified.mean), "mean");
    let s = digits(sum.s.expect("s"), certified.s);
    assert!(s >= 14.5, "s of decimals: {s} digits");
    let doubles: Vec<f64> = values.iter().map(|v| f(*v)).collect();
    let (mean, s) = mean_and_s(&doubles).expect("values");
    let (mean, s) = (digits(mean, f(dec(certified.mean))), digits(s, certified.s));
    println!("of doubles: mean {mean:.1}, s {s:.1} digits");
    assert!(mean >= 14.5, "mean of doubles: {mean} digits");
    assert!(s >= certified.s_of_doubles, "s of doubles: {s} digits");
}

fn read(text: &str) -> Vec<Decimal> {
    text.split_whitespace().map(dec).collect()
}

// id: strd-mavro
/// Mavro: transmittance of a filter. Doubles hold 2.0018 to 16 digits, which leaves 13 to a spread of 0.0004.
#[test]
fn mavro() {
    let values = read(MAVRO);
    assert_eq!(values.len(), 50);
    let certified = Certified {
        mean: "2.001856",
        s: 0.000_429_123_454_003_053,
        s_of_doubles: 13.0,
    };
    check(&values, &certified);
}

/// Lew: deflection of a beam.
#[test]
fn lew() {
    let values = read(LEW);
    assert_eq!(values.len(), 200);
    let certified = Certified {
        mean: "-177.435",
        s: 277.332_168_044_316,
        s_of_doubles: 14.5,
    };
    check(&values, &certified);
}

/// Lottery: three-digit numbers drawn.
#[test]
fn lottery() {
    let values = read(LOTTERY);
    assert_eq!(values.len(), 218);
    let certified = Certified {
        mean: "518.958715596330",
        s: 291.699_727_470_969,
        s_of_doubles: 14.5,
    };
    check(&values, &certified);
}

/// Michelso: the speed of light, Mm/s. Doubles leave 13 digits to a spread of 0.08 about 300.
#[test]
fn michelso() {
    let values = read(MICHELSO);
    assert_eq!(values.len(), 100);
    let certified = Certified {
        mean: "299.8524",
        s: 0.079_010_547_819_051_8,
        s_of_doubles: 13.5,
    };
    check(&values, &certified);
}

// id: strd-numacc1
// id: strd-numacc2
// id: strd-numacc3
/// NumAcc1 to NumAcc4: three whole numbers; then a first value and 500 pairs 0.1 below and above it, ever further from
/// zero. Decimals reach all digits of all four. Doubles do not hold the data of the last two: 1000000.1 only to ten
/// decimals, 10000000.1 to nine, so that s comes out to nine digits and to eight.
#[test]
fn numerical_accuracy() {
    let certified = Certified {
        mean: "10000002",
        s: 1.0,
        s_of_doubles: 15.0,
    };
    check(&read("10000001 10000003 10000002"), &certified);
    for (centre, s_of_doubles) in [("1.2", 14.5), ("1000000.2", 9.0), ("10000000.2", 8.0)] {
        let step = dec("0.1");
        let mut values = vec![dec(centre)];
        for _ in 0..500 {
            values.extend([dec(centre) - step, dec(centre) + step]);
        }
        let certified = Certified {
            mean: centre,
            s: 0.1,
            s_of_doubles,
        };
        check(&values, &certified);
    }
}

// id: strd-pidigits
/// PiDigits: the first 5000 digits of π, computed here. The certified values belong to NIST's file, in which the
/// 957th digit is 3 where π has 8; π itself has a mean of 4.5358 and an s of 2.867675552187612.
#[test]
fn pi_digits() {
    let mut pi = digits_of_pi(5000);
    assert_eq!(pi[..10], [3, 1, 4, 1, 5, 9, 2, 6, 5, 3]);
    assert_eq!(
        pi[762..768],
        [9; 6],
        "the six nines from the 762nd decimal on"
    );
    let as_decimals = |digits: &[u32]| digits.iter().map(|d| Decimal::from(*d)).collect();
    let values: Vec<Decimal> = as_decimals(&pi);
    let certified = Certified {
        mean: "4.5358",
        s: 2.867_675_552_187_612,
        s_of_doubles: 14.5,
    };
    check(&values, &certified);
    assert_eq!(std::mem::replace(&mut pi[956], 3), 8);
    let values: Vec<Decimal> = as_decimals(&pi);
    let certified = Certified {
        mean: "4.5348",
        s: 2.867_339_060_288_71,
        s_of_doubles: 14.5,
    };
    check(&values, &certified);
}

/// The first digits of π, four at a time, by the spigot of S. Rabinowitz and S. Wagon, Am. Math. Monthly 102 (1995) 195:
/// π = 2 + 1/3·(2 + 2/5·(2 + 3/7·(2 + …))) is 2, 2, 2, … in the mixed radix 1/3, 2/5, 3/7, …, turned into decimal.
fn digits_of_pi(count: usize) -> Vec<u32> {
    const GROUP: u64 = 10_000;
    let groups = count.div_ceil(4);
    // each place of the mixed radix halves at least, and 2^14 > GROUP
    let mut places = vec![2 * GROUP / 10; groups * 14 + 1];
    let mut found: Vec<u64> = Vec::new();
    let mut held = 0;
    for _ in 0..groups {
        let mut carried = 0;
        for k in (1..places.len()).rev() {
            let odd = 2 * k as u64 - 1;
            let value = carried * k as u64 + places[k] * GROUP;
            places[k] = value % odd;
            carried = value / odd;
        }
        found.push(held + carried / GROUP);
        held = carried % GROUP;
    }
    for i in (1..found.len()).rev() {
        found[i - 1] += found[i] / GROUP;
        found[i] %= GROUP;
    }
    let text: String = found.iter().map(|group| format!("{group:04}")).collect();
    text.chars()
        .filter_map(|c| c.to_digit(10))
        .take(count)
        .collect()
}

const MAVRO: &str = "\
    2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150 2.00170 2.00180 2.00180 \
    2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130 2.00130 2.00150 2.00150 2.00160 2.00150 2.00140 \
    2.00130 2.00140 2.00150 2.00140 2.00150 2.00160 2.00150 2.00160 2.00190 2.00200 2.00200 2.00210 2.00220 \
    2.00230 2.00240 2.00250 2.00270 2.00260 2.00260 2.00260 2.00270 2.00260 2.00250 2.00240";

const LEW: &str = "\
    -213 -564 -35 -15 141 115 -420 -360 203 -338 -431 194 -220 -513 154 -125 -559 92 -21 -579 -52 99 -543 -175 \
    162 -457 -346 204 -300 -474 164 -107 -572 -8 83 -541 -224 180 -420 -374 201 -236 -531 83 27 -564 -112 131 \
    -507 -254 199 -311 -495 143 -46 -579 -90 136 -472 -338 202 -287 -477 169 -124 -568 17 48 -568 -135 162 -430 \
    -422 172 -74 -577 -13 92 -534 -243 194 -355 -465 156 -81 -578 -64 139 -449 -384 193 -198 -538 110 -44 -577 \
    -6 66 -552 -164 161 -460 -344 205 -281 -504 134 -28 -576 -118 156 -437 -381 200 -220 -540 83 11 -568 -160 \
    172 -414 -408 188 -125 -572 -32 139 -492 -321 205 -262 -504 142 -83 -574 0 48 -571 -106 137 -501 -266 190 \
    -391 -406 194 -186 -553 83 -13 -577 -49 103 -515 -280 201 300 -506 131 -45 -578 -80 138 -462 -361 201 -211 \
    -554 32 74 -533 -235 187 -372 -442 182 -147 -566 25 68 -535 -244 194 -351 -463 174 -125 -570 15 72 -550 -190 \
    172 -424 -385 198 -218 -536 96";

const LOTTERY: &str = "\
    162 671 933 414 788 730 817 33 536 875 670 236 473 167 877 980 316 950 456 92 517 557 956 954 104 178 794 \
    278 147 773 437 435 502 610 582 780 689 562 964 791 28 97 848 281 858 538 660 972 671 613 867 448 738 966 \
    139 636 847 659 754 243 122 455 195 968 793 59 730 361 574 522 97 762 431 158 429 414 22 629 788 999 187 215 \
    810 782 47 34 108 986 25 644 829 630 315 567 919 331 207 412 242 607 668 944 749 168 864 442 533 805 372 63 \
    458 777 416 340 436 140 919 350 510 572 905 900 85 389 473 758 444 169 625 692 140 897 672 288 312 860 724 \
    226 884 508 976 741 476 417 831 15 318 432 241 114 799 955 833 358 935 146 630 830 440 642 356 373 271 715 \
    367 393 190 669 8 861 108 795 269 590 326 866 64 523 862 840 219 382 998 4 628 305 747 247 34 747 729 645 \
    856 974 24 568 24 694 608 480 410 729 947 293 53 930 223 203 677 227 62 455 387 318 562 242 428 968";

const MICHELSO: &str = "\
    299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 299.93 299.65 299.76 \
    299.81 300.00 300.00 299.96 299.96 299.96 299.94 299.96 299.94 299.88 299.80 299.85 299.88 299.90 299.84 \
    299.83 299.79 299.81 299.88 299.88 299.83 299.80 299.79 299.76 299.80 299.88 299.88 299.88 299.86 299.72 \
    299.72 299.62 299.86 299.97 299.95 299.88 299.91 299.85 299.87 299.84 299.84 299.85 299.84 299.84 299.84 \
    299.89 299.81 299.81 299.82 299.80 299.77 299.76 299.74 299.75 299.76 299.91 299.92 299.89 299.86 299.88 \
    299.72 299.84 299.85 299.85 299.78 299.89 299.84 299.78 299.81 299.76 299.81 299.79 299.81 299.82 299.85 \
    299.87 299.87 299.81 299.74 299.81 299.94 299.95 299.80 299.81 299.87";
