//! Iodine, through one reaction or a chain. M: KIO3 213.99977, NaClO 74.43876928, C6H8O6 176.1240, Cu 63.546 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 15.7730 − 14.8788 = 0.8942 g; 1000 × 0.8942 × 0.9980 / 213.99977 = 4.1701521 mmol in 250 mL, 0.41701521 in 25;
    // six for one is 2.5020913 mmol in 24.86 mL.
    Example {
        key: "thiosulfate-against-iodate",
        lots: ["", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 15.7730 14.8788 0.00 24.86"],
        counted: 1,
        expected: 0.100_647_276_239,
    },
    // 0.1004 × 26.85 = 2.69574 mmol, half of it 1.34787 mmol in 25 of 250 mL, 13.4787 in 20 mL of bleach;
    // × 74.43876928 = 1003.3378 mg in 20 mL
    Example {
        key: "bleach-iodometric",
        lots: ["0.1004", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["1 0.15 27.00"],
        counted: 1,
        expected: 5.016_689_197_47,
    },
    // 13.2417 − 13.0914 = 0.1503 g; 0.02480 × 24.10 = 0.59768 mmol, × 176.1240 = 105.26579 mg
    Example {
        key: "vitamin-c-iodimetric",
        lots: ["0.02480", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 13.2417 13.0914 0.30 24.40"],
        counted: 1,
        expected: 70.037_120_638_7,
    },
    // 14.1090 − 13.4078 = 0.7012 g; 0.1004 × 26.42 = 2.652568 mmol, × 63.546 = 168.56009 mg
    Example {
        key: "copper-iodometric",
        lots: ["0.1004", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 14.1090 13.4078 0.10 26.52"],
        counted: 1,
        expected: 24.038_802_927_6,
    },
    // 12.6080 − 11.9061 = 0.7019 g; 0.09986 × 25.61 = 2.5574146 mmol, × 63.546 = 162.51347 mg
    Example {
        key: "copper-own-thiosulfate",
        lots: ["0.09986", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 12.6080 11.9061 0.20 25.81"],
        counted: 1,
        expected: 23.153_364_891_2,
    },
    // NEET question bank 34832: 0.305 g, 24.5 mL of 0.1 mol/L; 24.5 × 0.1 × 63.546 / 305; printed 51.0 % with Cu 63.5
    // id: neet-copper
    Example {
        key: "copper-iodometric",
        lots: ["0.1", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 10.3050 10.0000 0.00 24.50"],
        counted: 1,
        expected: 51.045_147_541,
    },
];
