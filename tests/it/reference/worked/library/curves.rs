//! Titration curves. M: CH3COOH 60.052, Cl 35.45 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // steepest from 16.00 to 16.10 mL: slopes 12.0, 16.5, 4.0 per mL at 15.95, 16.05, 16.15; second derivatives 45 at 16.00
    // and −125 at 16.10, zero at 16.00 + 0.10 · 45 / 170 = 16.026470588; 0.1003 × 16.026470588 × 4 × 60.052 / 100
    Example {
        key: "vinegar-curve",
        lots: ["0.1003", ""],
        columns: "volume_mL pH volume_2_mL pH_2 volume_3_mL pH_3 volume_4_mL pH_4 volume_5_mL pH_5 volume_6_mL pH_6 volume_7_mL pH_7 volume_8_mL pH_8 volume_9_mL pH_9 volume_10_mL pH_10 volume_11_mL pH_11 volume_12_mL pH_12",
        rows: &[
            "1 0.000 2.90 4.000 4.28 8.000 4.76 12.000 5.24 15.000 6.10 15.800 6.75 15.900 7.05 16.000 8.25 16.100 9.90 16.200 10.30 17.000 11.05 18.000 11.35",
        ],
        counted: 1,
        expected: 3.861_235_506_399,
    },
    // the table of a textbook (chemistry/curves.rs) around another volume: second derivatives 4400 at 16.10 and −5900 at
    // 16.20, zero at 16.10 + 0.10 · 4400 / 10300 = 16.142718447; 20.03 × 16.142718447 × 35.45 / 100
    Example {
        key: "chloride-silver-electrode",
        lots: ["0.02003", ""],
        columns: "volume_mL potential_mV volume_2_mL potential_2_mV volume_3_mL potential_3_mV volume_4_mL potential_4_mV volume_5_mL potential_5_mV volume_6_mL potential_6_mV volume_7_mL potential_7_mV volume_8_mL potential_8_mV volume_9_mL potential_9_mV volume_10_mL potential_10_mV volume_11_mL potential_11_mV volume_12_mL potential_12_mV volume_13_mL potential_13_mV volume_14_mL potential_14_mV",
        rows: &[
            "1 0.000 105 5.000 118 10.000 139 14.000 170 15.000 189 15.800 221 15.900 230 16.000 241 16.100 280 16.200 363 16.300 387 16.400 398 17.000 424 18.000 446",
        ],
        counted: 1,
        expected: 114.623_551_597_087,
    },
    // the line of V · 10^−pH through the eight points from 10 to 17 mL (steepest between 17 and 18): 2.991043e−4 −
    // 1.7276346e−5 · V, zero at 17.312940241; 0.1003 × 17.312940241 / 25
    Example {
        key: "acid-gran",
        lots: ["0.1003", ""],
        columns: "volume_mL pH volume_2_mL pH_2 volume_3_mL pH_3 volume_4_mL pH_4 volume_5_mL pH_5 volume_6_mL pH_6 volume_7_mL pH_7 volume_8_mL pH_8 volume_9_mL pH_9 volume_10_mL pH_10 volume_11_mL pH_11 volume_12_mL pH_12 volume_13_mL pH_13 volume_14_mL pH_14 volume_15_mL pH_15 volume_16_mL pH_16",
        rows: &[
            "1 0.000 3.20 2.000 3.90 4.000 4.24 6.000 4.49 8.000 4.70 10.000 4.90 11.000 5.00 12.000 5.12 13.000 5.24 14.000 5.39 15.000 5.57 16.000 5.85 17.000 6.51 18.000 10.88 19.000 11.26 20.000 11.45",
        ],
        counted: 1,
        expected: 0.069_459_516_248,
    },
    // corrected by (125 + V) / 125: 3.8883282 − 0.23990210 · V through the first twelve, −1.1217529 + 0.19935733 · V through
    // the other nine points; they meet at 11.405745074; 0.1003 × 11.405745074 / 25
    Example {
        key: "acid-conductance",
        lots: ["0.1003", ""],
        columns: "volume_mL conductance_mS volume_2_mL conductance_2_mS volume_3_mL conductance_3_mS volume_4_mL conductance_4_mS volume_5_mL conductance_5_mS volume_6_mL conductance_6_mS volume_7_mL conductance_7_mS volume_8_mL conductance_8_mS volume_9_mL conductance_9_mS volume_10_mL conductance_10_mS volume_11_mL conductance_11_mS volume_12_mL conductance_12_mS volume_13_mL conductance_13_mS volume_14_mL conductance_14_mS volume_15_mL conductance_15_mS volume_16_mL conductance_16_mS volume_17_mL conductance_17_mS volume_18_mL conductance_18_mS volume_19_mL conductance_19_mS volume_20_mL conductance_20_mS volume_21_mL conductance_21_mS",
        rows: &[
            "1 0.000 3.89 1.000 3.61 2.000 3.36 3.000 3.10 4.000 2.83 5.000 2.59 6.000 2.34 7.000 2.09 8.000 1.85 9.000 1.62 10.000 1.37 11.000 1.15 12.000 1.16 13.000 1.33 14.000 1.50 15.000 1.67 16.000 1.83 17.000 2.00 18.000 2.16 19.000 2.31 20.000 2.47",
        ],
        counted: 1,
        expected: 0.045_759_849_236,
    },
];
