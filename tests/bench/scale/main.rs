//! How work grows with a course, and who waits for whom: each theme prints ratios and the bare figures of the same run.
//! `cargo bench --bench scale -- THEME`, by hand; themes are those of [`run`], and without one all of them run.
//! CPU is that of all threads of the process; courses that are graded are graded in a process of their own.

mod courses;
mod department;
mod live;
mod load;
mod pages;
mod readers;
mod sizes;

use std::path::Path;
use std::time::Duration;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    if let ["grade", folder] = words.as_slice() {
        return sizes::grade(Path::new(folder));
    }
    let wanted: Vec<&str> = words.into_iter().filter(|w| !w.starts_with("--")).collect();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build();
    runtime.expect("a runtime").block_on(run(&wanted));
}

async fn run(wanted: &[&str]) {
    let is_wanted = |theme: &str| wanted.is_empty() || wanted.contains(&theme);
    if is_wanted("corrections") {
        sizes::corrections().await;
    }
    if is_wanted("sections") {
        sizes::sections();
    }
    if is_wanted("courses") {
        sizes::courses();
    }
    if is_wanted("lots") {
        sizes::lots();
    }
    if is_wanted("titrants") {
        sizes::titrants();
    }
    if is_wanted("change") {
        readers::change().await;
    }
    if is_wanted("audit") {
        readers::audit().await;
    }
    if is_wanted("hand-ins") {
        load::hand_ins().await;
    }
    if is_wanted("beside") {
        department::beside().await;
    }
    if is_wanted("live") {
        live::live().await;
    }
    if is_wanted("pages") {
        pages::pages().await;
    }
}

/// CPU that all threads of this process have used since it began, those that have ended left out.
fn cpu() -> Duration {
    let tasks = std::fs::read_dir("/proc/self/task").expect("Linux");
    let used = tasks.filter_map(|task| {
        let path = task.ok()?.path().join("schedstat");
        let text = std::fs::read_to_string(path).ok()?;
        text.split(' ').next()?.parse::<u64>().ok()
    });
    Duration::from_nanos(used.sum())
}

/// A figure of this process in `/proc/self/status`, in MB.
fn memory(name: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find(|line| line.starts_with(name));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.unwrap_or_default() / 1000.0
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

/// The time under which that share of them lies.
fn quantile(times: &mut [Duration], share: f64) -> Duration {
    times.sort_unstable();
    let last = times.len().saturating_sub(1);
    times
        .get((share * last as f64) as usize)
        .copied()
        .unwrap_or_default()
}
