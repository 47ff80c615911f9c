//! The judge on machines with known faults; the long trial is `cargo run -p acceptance --bin trial`.

#[cfg(test)]
mod trial {
    use acceptance::trial::{always_leave, always_respring, run, run_with};

    /// Fewer than the thousand of the long trial: the gates are the same.
    const MACHINES: usize = 250;

    #[test]
    fn judge_finds_the_faults_that_were_built_in() {
        for seed in [11, 29, 47] {
            let tried = run(seed, MACHINES);
            assert!(tried.passes(), "seed {seed}\n{tried}");
        }
    }

    /// A test that a judge passes without looking at anything would show nothing.
    #[test]
    fn judges_that_do_not_look_fail() {
        for judge in [always_leave, always_respring] {
            let tried = run_with(11, MACHINES, &judge);
            assert!(!tried.passes(), "{tried}");
        }
    }
}
