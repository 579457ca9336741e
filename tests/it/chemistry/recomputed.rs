//! Every shipped titration and weighing once more, each by a line of arithmetic of its own with molar masses put together
//! by hand: results of random readings to 1e-9, and whether the expanded uncertainty covers what errors make of a result.

use std::collections::BTreeMap;

use concordant::columns::Column;
use concordant::files::shipped_procedures;
use concordant::measure::Reading;
use concordant::procedure::Procedure;
use concordant::submission::{Titration, TrialLabel};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{lot, read, worked};
use crate::reference::f;

/// What a row really is: volumes in mL, masses in g, molarities in mol/L.
#[derive(Clone, Copy, Debug)]
struct Drawn {
    /// Titre, in the same flask to the second endpoint.
    v: f64,
    /// Titre of the second portion, or to the first endpoint.
    w: f64,
    blank: f64,
    /// The sample, mL or g.
    m: f64,
    /// Molarity of the titrant, of the excess, and the volume of that.
    c: f64,
    e: f64,
    ve: f64,
    flask: f64,
    pipette: f64,
    /// Crucible contents, g.
    inside: f64,
    purity: f64,
}

const H: f64 = 1.008;
const C: f64 = 12.011;
const O: f64 = 15.999;
const NA: f64 = 22.989_769_28;
const MG: f64 = 24.305;
const S: f64 = 32.06;
const CL: f64 = 35.45;
const K: f64 = 39.0983;
const CA: f64 = 40.078;
const FE: f64 = 55.845;
const CU: f64 = 63.546;
const BR: f64 = 79.904;
const I: f64 = 126.904_47;
const BA: f64 = 137.327;

type Formula = fn(&Drawn) -> f64;

/// Key and result.
fn formulas() -> BTreeMap<&'static str, Formula> {
    let all: [(&str, Formula); 29] = [
        ("vinegar-acidity", |d| {
            d.c * d.v * d.flask / d.pipette * (2.0 * C + 4.0 * H + 2.0 * O) / d.m / 10.0
        }),
        ("vinegar-own-hydroxide", |d| {
            d.c * d.v * d.flask / d.pipette * (2.0 * C + 4.0 * H + 2.0 * O) / d.m / 10.0
        }),
        ("vinegar-cylinder", |d| {
            d.c * d.v * (2.0 * C + 4.0 * H + 2.0 * O) / d.m
        }),
        ("well-water-hardness", |d| {
            1000.0 * d.c * d.v * (CA + C + 3.0 * O) / d.m
        }),
        ("hard-water-cylinder", |d| 1000.0 * d.c * d.v / d.m),
        ("iron-tablet-edta", |d| d.c * d.v * FE / d.m),
        ("spring-chloride", |d| {
            1000.0 * d.c * (d.v - d.blank) * CL / d.m
        }),
        ("peroxide-permanganate", |d| {
            2.5 * d.c * d.v * d.flask / d.pipette * (2.0 * H + 2.0 * O) / d.m / 10.0
        }),
        ("iron-dichromate", |d| {
            6.0 * d.c * d.v * FE / (1000.0 * d.m) * 100.0
        }),
        ("vitamin-c-iodimetric", |d| {
            d.c * d.v * (6.0 * C + 8.0 * H + 6.0 * O) / (10.0 * d.m)
        }),
        ("water-alkalinity", |d| {
            1000.0 * d.c * d.v / 2.0 * (CA + C + 3.0 * O) / d.m
        }),
        ("acid-molar-mass", |d| 1000.0 * d.m / (d.c * d.v)),
        ("bleach-iodometric", |d| {
            d.c * d.v / 2.0 * d.flask / d.pipette * (NA + CL + O) / d.m / 10.0
        }),
        ("copper-iodometric", |d| d.c * d.v * CU / (10.0 * d.m)),
        ("copper-own-thiosulfate", |d| d.c * d.v * CU / (10.0 * d.m)),
        ("aspirin-tablet", |d| {
            (d.e * d.ve - d.c * d.v * d.flask / d.pipette) / 2.0
                * (9.0 * C + 8.0 * H + 4.0 * O)
                * 0.6
                / d.m
        }),
        ("antacid-back", |d| {
            (d.e * d.ve - d.c * d.v) / 2.0 * (MG + 2.0 * O + 2.0 * H) / (10.0 * d.m)
        }),
        ("eggshell-carbonate", |d| {
            (d.e * d.ve - d.c * d.v) / 2.0 * (CA + C + 3.0 * O) / (10.0 * d.m)
        }),
        ("bromide-volhard", |d| {
            (d.e * d.ve - d.c * d.v) * (NA + BR) / (10.0 * d.m)
        }),
        ("naoh-against-khp", |d| {
            1000.0 * d.m * d.purity / (8.0 * C + 5.0 * H + K + 4.0 * O) / d.v
        }),
        ("hcl-against-carbonate", |d| {
            2000.0 * d.m * d.purity / (2.0 * NA + C + 3.0 * O) / d.v
        }),
        ("permanganate-against-oxalate", |d| {
            400.0 * d.m * d.purity / (2.0 * NA + 2.0 * C + 4.0 * O) / d.v
        }),
        ("thiosulfate-against-iodate", |d| {
            6000.0 * d.m * d.purity / (K + I + 3.0 * O) * d.pipette / d.flask / d.v
        }),
        ("edta-against-calcium-carbonate", |d| {
            1000.0 * d.m * d.purity / (CA + C + 3.0 * O) * d.pipette / d.flask / d.v
        }),
        ("silver-against-chloride", |d| {
            1000.0 * d.m * d.purity / (NA + CL) * d.pipette / d.flask / d.v
        }),
        ("soda-two-indicators", |d| {
            d.c * (d.v - 2.0 * d.w) * d.flask / d.pipette * (NA + H + C + 3.0 * O) / (10.0 * d.m)
        }),
        ("magnesium-by-difference", |d| {
            1000.0 * d.c * (d.v - d.w) * MG / d.m
        }),
        ("sulfate-gravimetric", |d| {
            100.0 * d.inside * (S + 4.0 * O) / (BA + S + 4.0 * O) / d.m
        }),
        ("epsom-hydrate", |d| {
            (d.m - d.inside) / (2.0 * H + O) / (d.inside / (MG + S + 4.0 * O))
        }),
    ];
    let mut all: BTreeMap<&str, Formula> = all.into_iter().collect();
    all.insert("low-sodium-salt", |d| {
        let (one, other) = (NA + CL, K + CL);
        (other * d.c * d.v - 1000.0 * d.m) / (other - one) * one / (10.0 * d.m)
    });
    all.insert("washing-soda-mass", |d| {
        let (one, other) = (2.0 * NA + C + 3.0 * O, NA + H + C + 3.0 * O);
        let used = d.c * d.v * d.flask / d.pipette;
        (other * used - 1000.0 * d.m) / (2.0 * other - one) * one / (10.0 * d.m)
    });
    all.insert("baking-soda-heating", |d| {
        let lost = (2.0 * H + O + C + 2.0 * O) / 2.0;
        100.0 * (d.m - d.inside) / lost * (NA + H + C + 3.0 * O) / d.m
    });
    all
}

/// Those that need more than a line: a density by water, and a line through standards, which the other implementation
/// recomputes (`reference/crosscheck`), and curves (`curves.rs`).
const LONGER: [&str; 12] = [
    "copper-addition-flame",
    "iron-wine-addition",
    "food-colours",
    "brine-density",
    "iron-absorbance",
    "iron-tonic-own-line",
    "zinc-tablet-flame",
    "nitrite-griess",
    "vinegar-curve",
    "chloride-silver-electrode",
    "acid-gran",
    "acid-conductance",
];

/// A number as it is written to so many decimals.
fn written(value: f64, decimals: u32) -> String {
    format!("{value:.*}", decimals as usize)
}

struct Case {
    procedure: Procedure,
    formula: fn(&Drawn) -> f64,
}

impl Case {
    /// Nominal volumes, and a random filling of everything that is read.
    fn draw(&self, rng: &mut ChaCha20Rng) -> Drawn {
        let procedure = &self.procedure;
        let size = |piece: &concordant::measure::Glassware| f(piece.capacity());
        let aliquot = procedure.sample.aliquot.as_ref();
        let nominal = f(procedure.sample.nominal);
        let excess = procedure.excess();
        let over = |rng: &mut ChaCha20Rng| 0.97 + 0.06 * rng.random::<f64>();
        let read = procedure.reads_sample_volume()
            || procedure.sample.by != concordant::procedure::SampleBy::Volume;
        let m = if read {
            nominal * (0.93 + 0.06 * rng.random::<f64>())
        } else {
            nominal
        };
        let v = 15.0 + 20.0 * rng.random::<f64>();
        Drawn {
            v,
            w: v * (0.2 + 0.25 * rng.random::<f64>()),
            blank: if procedure.trials.blank {
                0.05 + 0.3 * rng.random::<f64>()
            } else {
                0.0
            },
            m,
            c: procedure.titrant().map_or(1.0, |t| f(t.nominal)) * over(rng),
            e: excess.map_or(1.0, |e| f(e.nominal)) * over(rng),
            ve: excess.map_or(0.0, |e| size(&e.glassware)),
            flask: aliquot.map_or(1.0, |a| size(&a.flask)),
            pipette: aliquot.map_or(1.0, |a| size(&a.pipette)),
            inside: m * (0.6 + 0.2 * rng.random::<f64>()),
            purity: procedure.sample.purity.map_or(1.0, |p| f(p.fraction)),
        }
    }

    /// Rows as somebody writes them: each reading off by what `off` says of it.
    fn rows(
        &self,
        drawn: &Drawn,
        number: u32,
        mut off: impl FnMut(Column) -> f64,
    ) -> Vec<Titration> {
        let procedure = &self.procedure;
        let mut row = |trial: TrialLabel, drawn: &Drawn| {
            let mut row = Titration::new(trial);
            for column in Column::of_row(procedure, trial, 1) {
                let really = match column {
                    Column::BuretteStart(_) | Column::SecondStart(_) => 0.5,
                    Column::BuretteEnd(_) => 0.5 + drawn.v,
                    Column::SecondEnd(_) | Column::FirstEndpoint => 0.5 + drawn.w,
                    Column::SampleMass | Column::SampleVolume => drawn.m,
                    Column::SampleBefore => 12.0 + drawn.m,
                    Column::SampleAfter => 12.0,
                    Column::Crucible => 21.0,
                    Column::CrucibleFull | Column::CrucibleHeated => 21.0 + drawn.inside,
                    other => panic!("{other}"),
                };
                let decimals = column.glassware(procedure).decimals().expect("read");
                let text = written(really + off(column), decimals);
                row.readings
                    .insert(column, Reading::parse(&text).expect("a reading"));
            }
            row
        };
        let mut rows = Vec::new();
        if procedure.trials.blank {
            let blank = Drawn {
                v: drawn.blank,
                ..*drawn
            };
            rows.push(row(TrialLabel::Blank, &blank));
        }
        rows.extend((1..=number).map(|n| row(TrialLabel::Numbered(n), drawn)));
        rows
    }
}

fn cases() -> Vec<(String, Case)> {
    let formulas = formulas();
    let shipped = shipped_procedures();
    let known: Vec<&str> = formulas.keys().copied().chain(LONGER).collect();
    for (key, _) in &shipped {
        assert!(known.contains(&key.as_str()), "{key} is not recomputed");
    }
    let case = |(key, text): &(String, String)| {
        let formula = *formulas.get(key.as_str())?;
        let procedure = read(text).unwrap_or_else(|why| panic!("{key}: {why:?}"));
        Some((key.clone(), Case { procedure, formula }))
    };
    shipped.iter().filter_map(case).collect()
}

/// What the readings say, with nothing put into the work-up but them.
fn as_read(row: &Titration, blank: f64, drawn: &Drawn) -> Drawn {
    let get = |column: Column| column.get(row).map(|r| f(r.value()));
    let between = |end: Column, start: Column| Some(get(end)? - get(start)?);
    let v = between(Column::BuretteEnd(1), Column::BuretteStart(1)).unwrap_or(0.0);
    let second = between(Column::SecondEnd(1), Column::SecondStart(1));
    let first = between(Column::FirstEndpoint, Column::BuretteStart(1));
    let difference = between(Column::SampleBefore, Column::SampleAfter);
    let m = get(Column::SampleMass)
        .or(get(Column::SampleVolume))
        .or(difference);
    let full = get(Column::CrucibleFull).or(get(Column::CrucibleHeated));
    Drawn {
        v,
        w: second.or(first).unwrap_or(0.0),
        blank,
        m: m.unwrap_or(drawn.m),
        inside: full
            .and_then(|full| Some(full - get(Column::Crucible)?))
            .unwrap_or(0.0),
        ..*drawn
    }
}

#[test]
fn results_of_random_readings_agree() {
    let mut rng = ChaCha20Rng::seed_from_u64(26);
    let mut compared = 0;
    for (key, case) in cases() {
        for _ in 0..20 {
            let mut drawn = case.draw(&mut rng);
            // lots as they are typed
            let [c, e] = [drawn.c, drawn.e].map(|lot| written(lot, 6));
            (drawn.c, drawn.e) = (c.parse().expect("typed"), e.parse().expect("typed"));
            let rows = case.rows(&drawn, 1, |_| 0.0);
            let trial = rows.last().expect("a trial");
            let blank = if rows.len() > 1 {
                as_read(&rows[0], 0.0, &drawn).v
            } else {
                0.0
            };
            let expected = (case.formula)(&as_read(trial, blank, &drawn));
            let (titrant, excess) = (lot("T", &c), lot("E", &e));
            let done = worked(&case.procedure, rows, (&titrant, Some(&excess)));
            let found = done
                .trials
                .iter()
                .find_map(|t| t.result)
                .map(|id| f(done.graph.value(id)));
            let found = found.unwrap_or_else(|| panic!("{key}: {:?}", done.trials));
            assert!(
                (found - expected).abs() <= 1e-9 * expected.abs(),
                "{key}: {found}, expected {expected}"
            );
            compared += 1;
        }
    }
    println!("{compared} cases");
    assert!(compared >= 500, "{compared}");
}

/// Draws of every error by its stated distribution; the truth is what the line of arithmetic makes of what was really there.
#[test]
fn the_expanded_uncertainty_covers_what_errors_do() {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let draws = if long { 4000 } else { 250 };
    let mut rng = ChaCha20Rng::seed_from_u64(27);
    let mut worst: Vec<(f64, String)> = Vec::new();
    for shared in [0.5, 0.0, 1.0] {
        for (key, case) in cases() {
            let covered = (0..draws)
                .filter(|_| case.is_covered(shared, &mut rng))
                .count();
            let share = covered as f64 / f64::from(draws);
            worst.push((
                share,
                format!("{key}, {shared} of the variance shared: {share:.3}"),
            ));
            // three standard deviations of the count around what is asked for, and more where the model is another one
            let room = 3.0 * (0.95f64 * 0.05 / f64::from(draws)).sqrt();
            let (least, most) = if shared == 0.5 {
                (0.93, 0.985)
            } else {
                (0.88, 1.0)
            };
            assert!(
                share >= least - room && share <= most + room,
                "{key}, shared {shared}: {share}"
            );
        }
    }
    worst.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, words) in &worst {
        println!("{words}");
    }
}

impl Case {
    /// Whether the result of three trials with drawn errors lies within its expanded uncertainty of the truth.
    fn is_covered(&self, shared: f64, rng: &mut ChaCha20Rng) -> bool {
        let procedure = &self.procedure;
        let drawn = self.draw(rng);
        let triangle =
            |half: f64, rng: &mut ChaCha20Rng| half * (rng.random::<f64>() - rng.random::<f64>());
        let rectangle = |half: f64, rng: &mut ChaCha20Rng| half * (2.0 * rng.random::<f64>() - 1.0);
        let tolerance = |piece: Option<&concordant::measure::Glassware>| {
            piece.map_or(0.0, |p| f(p.tolerance()))
        };
        let sample = &procedure.sample;
        let aliquot = sample.aliquot.as_ref();
        let stated = &procedure.uncertainty;
        let (reading, drop) = (f(stated.burette_reading), f(stated.drop));
        // what single-mark pieces and bottles really hold; a pipette used twice is one
        let mut really = drawn;
        let mut pipettes: Vec<(String, f64)> = Vec::new();
        let mut off = |piece: Option<&concordant::measure::Glassware>, rng: &mut ChaCha20Rng| {
            let Some(piece) = piece else { return 0.0 };
            if let Some((_, known)) = pipettes.iter().find(|(key, _)| key == piece.key()) {
                return *known;
            }
            let drawn = triangle(f(piece.tolerance()), rng);
            if piece.key().starts_with("pipette") {
                pipettes.push((piece.key().to_owned(), drawn));
            }
            drawn
        };
        really.flask += off(aliquot.map(|a| &a.flask), rng);
        really.pipette += off(aliquot.map(|a| &a.pipette), rng);
        really.ve += off(procedure.excess().map(|e| &e.glassware), rng);
        let unread = sample.by == concordant::procedure::SampleBy::Volume
            && !procedure.reads_sample_volume();
        if unread {
            really.m += off(Some(&sample.glassware), rng);
        }
        let molarity = |value: f64, rng: &mut ChaCha20Rng| {
            let sum: f64 = (0..12).map(|_| rng.random::<f64>()).sum();
            value * (1.0 + 0.001 * (sum - 6.0))
        };
        really.c = molarity(drawn.c, rng);
        really.e = molarity(drawn.e, rng);
        if let Some(purity) = sample.purity {
            really.purity += rectangle(f(purity.half_width), rng);
        }
        let truth = (self.formula)(&really);
        // what is read: every delivery and weighing with its own errors
        let burette = tolerance(procedure.burette());
        let of_burette = triangle(burette, rng) * shared.sqrt();
        let balance = if unread || procedure.reads_sample_volume() {
            0.0
        } else {
            f(sample.glassware.tolerance())
        };
        let [before, after, empty, full] = [(); 4].map(|()| rectangle(balance, rng));
        let cylinder = triangle(f(sample.glassware.tolerance()), rng);
        let step = sample.glassware.readable_step().map_or(0.0, f);
        let repeat = f(stated.repeatability) / 100.0;
        let mut rows = Vec::new();
        let single: Vec<Titration> = self.rows(&really, 3, |_| 0.0);
        for row in single {
            let mut off = row.clone();
            for (column, read) in &row.readings {
                let value = f(read.value());
                let exact = match column {
                    Column::BuretteEnd(_) if row.trial == TrialLabel::Blank => 0.5 + really.blank,
                    Column::BuretteEnd(_) => 0.5 + really.v,
                    Column::SecondEnd(_) | Column::FirstEndpoint => 0.5 + really.w,
                    Column::SampleMass | Column::SampleVolume => really.m,
                    Column::SampleBefore => 12.0 + really.m,
                    Column::CrucibleFull | Column::CrucibleHeated => 21.0 + really.inside,
                    _ => value,
                };
                let own = triangle(burette, rng) * (1.0 - shared).sqrt();
                let error = match column {
                    Column::BuretteStart(_) | Column::SecondStart(_) => triangle(reading, rng),
                    Column::BuretteEnd(_) | Column::SecondEnd(_) | Column::FirstEndpoint => {
                        triangle(reading, rng) + rectangle(drop / 2.0, rng) + of_burette + own
                    }
                    Column::SampleVolume => cylinder + triangle(2.0 * step, rng),
                    // tared: two weighings
                    Column::SampleMass => before + after,
                    Column::SampleBefore => before,
                    Column::SampleAfter => after,
                    Column::Crucible => empty,
                    _ => full,
                };
                // a whole determination that does not repeat moves its signal
                let content = if matches!(column, Column::CrucibleFull | Column::CrucibleHeated) {
                    self.moved(&really, repeat, rng)
                } else {
                    0.0
                };
                let decimals = column.glassware(procedure).decimals().expect("read");
                let text = written(exact + error + content, decimals);
                off.readings
                    .insert(*column, Reading::parse(&text).expect("a reading"));
            }
            rows.push(off);
        }
        let mut titrant = lot("T", &written(drawn.c, 8));
        let mut excess = lot("E", &written(drawn.e, 8));
        for lot in [&mut titrant, &mut excess] {
            lot.molarity.standard_uncertainty = lot.molarity.value * crate::reference::dec("0.001");
        }
        let done = worked(procedure, rows, (&titrant, Some(&excess)));
        let value = done.value().map_or(f64::NAN, f);
        let expanded = done.budget.map_or(0.0, |b| b.expanded);
        (value - truth).abs() <= expanded
    }

    /// By how much a crucible's content is off where the result of it is off by a normal share of itself.
    fn moved(&self, really: &Drawn, repeat: f64, rng: &mut ChaCha20Rng) -> f64 {
        let sum: f64 = (0..12).map(|_| rng.random::<f64>()).sum();
        let by = |inside: f64| (self.formula)(&Drawn { inside, ..*really });
        let slope = (by(really.inside * 1.001) - by(really.inside)) / (0.001 * really.inside);
        repeat * (sum - 6.0) * by(really.inside) / slope
    }
}
