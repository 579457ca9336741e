//! How the allocator of the system keeps what the program lets go of.

/// Starts the program anew in its own place with settings of glibc's allocator, which takes them from nowhere else. A
/// password fills 19 MiB while it is hashed; as it comes, glibc has such pieces stay in the heap of every thread that ever
/// hashed one: some 250 MB after 32 people have signed in at once. Whoever has set any of them by hand knows better.
pub fn settle() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    again();
}

#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn again() {
    use std::env;
    use std::os::unix::process::CommandExt as _;
    use std::process::Command;

    const SETTINGS: [(&str, &str); 3] = [
        ("MALLOC_ARENA_MAX", "2"),
        ("MALLOC_MMAP_THRESHOLD_", "131072"),
        ("MALLOC_TRIM_THRESHOLD_", "131072"),
    ];
    let by_hand = SETTINGS.map(|(name, _)| name).into_iter();
    let mut by_hand = by_hand.chain(["GLIBC_TUNABLES"]);
    if by_hand.any(|name| env::var_os(name).is_some()) {
        return;
    }
    let mut arguments = env::args_os();
    let (Ok(program), Some(name)) = (env::current_exe(), arguments.next()) else {
        return;
    };
    let mut command = Command::new(program);
    command.arg0(name).args(arguments).envs(SETTINGS);
    // it comes back only where that is forbidden: then it goes on as it is
    let _forbidden = command.exec();
}
