//! Flags that chance alone may raise, on simulated sections of 24: how often clean work raises them, how often honest
//! pairs are taken for copies, and how many copies are found. `CONCORDANT_LONG=1` simulates many more.

mod class;
mod clean;
mod copies;
mod digits;
mod habits;

/// How many to simulate: the first number, or with `CONCORDANT_LONG=1` the second.
fn many(few: usize, long: usize) -> usize {
    if std::env::var("CONCORDANT_LONG").is_ok_and(|v| v == "1") {
        long
    } else {
        few
    }
}
