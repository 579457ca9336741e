//! Titration curves as the world makes them, and not as a scheme expects them: a weak acid's charge balance solved with
//! activity coefficients, an electrode that drifts and has too small a slope, points that were added without care, a
//! titrator's file with headings of its own.

use concordant::columns::Column;
use concordant::measure::Reading;
use concordant::submission::{Titration, TrialLabel};
use concordant::text::read_curve;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{lot, read, text_of, worked};
use crate::reference::{dec, f};

/// Davies' activity coefficient of a single charge at 25 °C.
fn activity(ionic_strength: f64) -> f64 {
    let root = ionic_strength.sqrt();
    10f64.powf(-0.509 * (root / (1.0 + root) - 0.3 * ionic_strength))
}

/// What a perfect electrode shows: mmol of acid (pK 4.757 at no ionic strength) and of strong base in so many mL, where
/// Na + H = OH + acetate.
fn ph(acid: f64, base: f64, volume: f64) -> f64 {
    let (acid, base) = (acid / volume, base / volume);
    let constant = 10f64.powf(-4.757);
    let mut ionic_strength: f64 = 1e-4;
    let mut ph = 7.0;
    for _ in 0..40 {
        let g = activity(ionic_strength);
        let dissociated = |h: f64| acid / (1.0 + h * g / constant);
        let (mut low, mut high) = (0.0, 14.0);
        for _ in 0..100 {
            ph = (low + high) / 2.0;
            let h = 10f64.powf(-ph);
            let charge = h / g + base - 1.008e-14 / h / g - dissociated(h);
            if charge > 0.0 {
                low = ph;
            } else {
                high = ph;
            }
        }
        let h = 10f64.powf(-ph);
        ionic_strength = (h / g + base + 1.008e-14 / h / g + dissociated(h)) / 2.0;
    }
    ph
}

#[derive(Clone, Copy, Debug)]
enum Hand {
    /// Large steps, and 0.10 mL around the jump.
    Careful,
    /// A millilitre, and a few points anywhere around it.
    Sloppy,
    /// A quarter of a millilitre throughout, as a titrator does.
    Machine,
}

/// mL and pH as an electrode with 98.5 % of its slope, 0.03 off and drifting, shows it.
fn curve(acid: f64, molarity: f64, hand: Hand, rng: &mut ChaCha20Rng) -> Vec<(f64, f64)> {
    let end = acid / molarity;
    let mut added: Vec<f64> = match hand {
        Hand::Careful => {
            let far = (0..).map(|n| 2.0 * f64::from(n));
            let far = far.take_while(|v| *v < end - 1.5);
            let near = (0..31).map(|n| end - 1.5 + 0.1 * f64::from(n));
            far.chain(near).chain([end + 2.0, end + 3.0]).collect()
        }
        Hand::Sloppy => {
            let far = (0..).map(f64::from).take_while(|v| *v < end - 1.0);
            let mut all: Vec<f64> = far.collect();
            all.extend((0..9).map(|_| end - 1.0 + 2.0 * rng.random::<f64>()));
            all.extend([end + 2.0, end + 3.0]);
            all
        }
        Hand::Machine => (0..96).map(|n| 0.25 * f64::from(n)).collect(),
    };
    added.sort_by(f64::total_cmp);
    let mut normal = |sigma: f64| sigma * ((0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0);
    let mut drift = 0.03;
    let shown = added.into_iter().map(|v| {
        drift += 0.0004 + normal(0.001);
        let shown = 7.0 + 0.985 * (ph(acid, molarity * v, 100.0 + v) - 7.0) + drift;
        ((v + normal(0.008)).max(0.0), shown + normal(0.006))
    });
    let mut shown: Vec<(f64, f64)> = shown.collect();
    shown.sort_by(|one, other| one.0.total_cmp(&other.0));
    shown
}

fn row(number: u32, points: &[(f64, f64)]) -> Titration {
    let mut row = Titration::new(TrialLabel::Numbered(number));
    for (n, (volume, ph)) in (1..).zip(points) {
        let mut put = |column: Column, text: String| {
            let reading = Reading::parse(&text).expect("a reading");
            row.readings.insert(column, reading);
        };
        put(Column::CurveVolume(n), format!("{volume:.3}"));
        put(Column::CurvePh(n), format!("{ph:.2}"));
    }
    row
}

/// Of every hand, the truth lies within the expanded uncertainty about as often as it should, and the mean is not off.
#[test]
fn curves_of_the_world_come_out_right() {
    let procedure = read(&text_of("vinegar-curve")).expect("a procedure");
    let mut rng = ChaCha20Rng::seed_from_u64(31);
    let mut base = lot("T", "0.1002");
    base.molarity.standard_uncertainty = dec("0.0001");
    for hand in [Hand::Careful, Hand::Sloppy, Hand::Machine] {
        let (students, mut covered, mut off) = (60, 0, 0.0);
        for _ in 0..students {
            let truth = 4.5 + rng.random::<f64>();
            // 10 mL in 100 mL, 25 mL of that
            let acid = truth * 10.0 * 10.0 / 60.052 / 4.0;
            let rows = (1..=2).map(|n| row(n, &curve(acid, 0.1002, hand, &mut rng)));
            let done = worked(&procedure, rows.collect(), (&base, None));
            let value = done
                .value()
                .map(f)
                .unwrap_or_else(|| panic!("{:?}", done.trials));
            covered += i32::from((value - truth).abs() <= done.budget.expect("a budget").expanded);
            off += (value / truth - 1.0) / f64::from(students);
        }
        println!(
            "{hand:?}: {covered} of {students} covered, {:.3} % off on the whole",
            100.0 * off
        );
        assert!(covered >= 52, "{hand:?}: {covered}");
        assert!(off.abs() < 0.002, "{hand:?}: {off}");
    }
}

/// A titrator's file: a mark of its coding, what it is about, headings in another language, decimal commas, more columns
/// than are wanted, and an end.
#[test]
fn a_titrators_file_is_read() {
    let mut rng = ChaCha20Rng::seed_from_u64(32);
    let points = curve(2.06, 0.1002, Hand::Careful, &mut rng);
    let mut text =
        "\u{feff}TitroPlus 900 ;Serie 3\r\nDatum;29.11.2026 14:03\r\nProbe;Essig 7\r\n\r\n\
                    Nr.;Zeit / s;Volumen / mL;Temp. / \u{b0}C;pH-Wert;dpH/dV\r\n"
            .to_owned();
    for (n, (volume, ph)) in (1..).zip(&points) {
        let line = format!("{n};{};{volume:.3};24.{};{ph:.2};0.10", n * 31, n % 10);
        text.push_str(&line.replace('.', ","));
        text.push_str("\r\n");
    }
    text.push_str("\r\nEnde der Messung;OK\r\n");
    let read = read_curve(&text, &["ph"], 150).expect("points");
    assert_eq!(read.points.len(), points.len());
    let number = |text: &str| text.replace(',', ".").parse::<f64>().expect("a number");
    for ((volume, ph), (expected_volume, expected_ph)) in read.points.iter().zip(&points) {
        assert!(
            (number(volume) - expected_volume).abs() < 0.0006,
            "{volume}"
        );
        assert!((number(ph) - expected_ph).abs() < 0.006, "{ph}");
    }
}
