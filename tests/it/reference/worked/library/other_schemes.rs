//! Two endpoints, gravimetry, density, a calibration line. M: NaHCO3 84.00576928, Mg 24.305, BaSO4 233.383, SO4 96.056,
//! Fe 55.845 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // residue 22.4236 − 21.4402 = 0.9834 g of MgSO4 (120.361 g/mol), lost 2.0134 − 0.9834 = 1.0300 g of water (18.015):
    // (1.0300 / 18.015) / (0.9834 / 120.361)
    Example {
        key: "epsom-hydrate",
        lots: ["", ""],
        columns: "crucible_g crucible_after_heating_g sample_g",
        rows: &["1 21.4402 22.4236 2.0134"],
        counted: 1,
        expected: 6.997_751_913,
    },
    // lost 2.0251 − 1.5055 = 0.5196 g; a mole of NaHCO3 (84.0058 g) loses half of H2O + CO2, 31.0120 g
    Example {
        key: "baking-soda-heating",
        lots: ["", ""],
        columns: "crucible_g crucible_after_heating_g sample_g",
        rows: &["1 20.1180 21.6235 2.0251"],
        counted: 1,
        expected: 69.502_752_895,
    },
    // from 0.20: first endpoint at 11.62 mL, second at 36.95 mL. Carbonate takes 11.62 mL to the first and twice that to
    // the second, hydrogencarbonate the rest: 36.95 − 23.24 = 13.71 mL; × 0.1003 = 1.375113 mmol in 25 of 250 mL,
    // × 10 × 84.00576928 = 1155.1743 mg in 19.8314 − 17.3344 = 2.4970 g
    Example {
        key: "soda-two-indicators",
        lots: ["0.1003", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_first_endpoint_mL burette_end_mL",
        rows: &["1 19.8314 17.3344 0.20 11.82 37.15"],
        counted: 1,
        expected: 46.262_485_146_9,
    },
    // pH 10: 31.86 mL for both, pH 12: 19.92 mL for calcium; 0.01004 × 11.94 = 0.1198776 mmol in 100 mL, × 24.305 × 10
    Example {
        key: "magnesium-by-difference",
        lots: ["0.01004", ""],
        columns: "burette_start_mL burette_end_mL second_start_mL second_end_mL",
        rows: &["1 0.14 32.00 0.08 20.00"],
        counted: 1,
        expected: 29.136_250_68,
    },
    // 22.1893 − 21.7481 = 0.4412 g; × 96.056 / 233.383 = 0.18158952 g in 15.6020 − 15.1512 = 0.4508 g
    Example {
        key: "sulfate-gravimetric",
        lots: ["", ""],
        columns: "sample_before_g sample_after_g crucible_g crucible_and_precipitate_g",
        rows: &["1 15.6020 15.1512 21.7481 22.1893"],
        counted: 1,
        expected: 40.281_615_148_1,
    },
    // water at 20 °C 0.9982067 g/mL, air 0.0012: 55.223 g of brine in the place of 49.808 g of water;
    // 55.223 / 49.808 × 0.9970067 + 0.0012
    Example {
        key: "brine-density",
        lots: ["", ""],
        columns: "vessel_g vessel_and_water_g vessel_and_liquid_g",
        rows: &["1 31.208 81.016 86.431"],
        counted: 1,
        expected: 1.106_598_75,
    },
    // standards c = 0, 1.6, 3.2, 4.8, 6.4, 8.0 × 10⁻⁵ mol/L, mean 4.0 × 10⁻⁵; mean absorbance 0.448;
    // Σ(c − c̄)² = 4.48 × 10⁻⁹, Σ(c − c̄)(A − Ā) = 4.9728 × 10⁻⁵: slope 11100, intercept 0.448 − 0.444 = 0.004.
    // Sample (0.443 − 0.004) / 11100 = 3.954955 × 10⁻⁵ mol/L in 100 mL, four times that in 25 mL, × 55845 mg/mol
    Example {
        key: "iron-absorbance",
        lots: ["0.000800", ""],
        columns: "absorbance",
        rows: &[
            "standard-1 0.004",
            "standard-2 0.181",
            "standard-3 0.360",
            "standard-4 0.537",
            "standard-5 0.714",
            "standard-6 0.892",
            "1 0.443",
        ],
        counted: 1,
        expected: 8.834_578_378_38,
    },
    // the same standards; 3.954955 × 10⁻⁵ mol/L in 100 mL, times 500/25, in 5 mL, × 55845 mg/mol
    Example {
        key: "iron-tonic-own-line",
        lots: ["0.000800", ""],
        columns: "absorbance",
        rows: &[
            "standard-1 0.004",
            "standard-2 0.181",
            "standard-3 0.360",
            "standard-4 0.537",
            "standard-5 0.714",
            "standard-6 0.892",
            "1 0.443",
        ],
        counted: 1,
        expected: 883.457_837_838,
    },
    // stock 0.000771, the parabola through (0.000771 · v / 100, A) is 0.00387602 + 12719.8506 · c − 15399359 · c². Blank 6.391799
    // × 10⁻⁷, samples 4.2092318, 4.1480050, 4.2705599 × 10⁻⁵ mol/L; less the blank in 100 mL, times 250/10, × 65.38 × 0.5000 /
    // mass: 11.2475356, 11.1741549, 11.2680371 mg
    Example {
        key: "zinc-tablet-flame",
        lots: ["0.000771", ""],
        columns: "absorbance sample_g",
        rows: &[
            "blank 0.012 -",
            "standard-1 0.004 -",
            "standard-2 0.101 -",
            "standard-3 0.196 -",
            "standard-4 0.382 -",
            "standard-5 0.559 -",
            "standard-6 0.730 -",
            "standard-7 0.893 -",
            "1 0.512 0.3012",
            "2 0.505 0.2987",
            "3 0.519 0.3051",
        ],
        counted: 3,
        expected: 11.229_909_194_938,
    },
    // stock 0.0000903, weights 1/v; the line is 0.002873320538 + 50472.619526 · c. Blank 1.2138620 × 10⁻⁷; the samples less the
    // blank in 50 mL of 25 mL, × 14007 mg/mol: 0.2342241817, 0.2325590808, 0.2369993495 mg/L
    Example {
        key: "nitrite-griess",
        lots: ["0.0000903", ""],
        columns: "absorbance",
        rows: &[
            "blank 0.009",
            "standard-1 0.094",
            "standard-2 0.185",
            "standard-3 0.368",
            "standard-4 0.549",
            "standard-5 0.735",
            "standard-6 0.912",
            "1 0.431",
            "2 0.428",
            "3 0.436",
        ],
        counted: 3,
        expected: 0.234_594_203_971,
    },
];
