//! Whether this processor can run the recogniser as it was built. whisper.cpp is compiled for the processor of the
//! computer that builds it, or for what `GGML_NATIVE=OFF` leaves (AVX2); on an older one the first instruction that is
//! missing would end the program without a word.

use super::super::Error;

/// An instruction set: its name, whether the recogniser was built with it, whether this processor has it.
type Set = (&'static str, bool, bool);

/// Refuses to go on with a processor that lacks what the recogniser was built with.
pub(super) fn check() -> Result<(), Error> {
    refuse(&sets())
}

fn refuse(sets: &[Set]) -> Result<(), Error> {
    let missing: Vec<&str> = sets.iter().filter(|(_, built, has)| *built && !has).map(|s| s.0).collect();
    if missing.is_empty() { Ok(()) } else { Err(Error::Processor { missing: missing.join(", ") }) }
}

/// What the recogniser says that it was built with; these functions return constants and run on any processor.
#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
#[expect(unsafe_code, reason = "constants of ggml, which whisper-rs offers in part only")]
fn sets() -> Vec<Set> {
    use std::arch::is_x86_feature_detected as has;
    use whisper_rs_sys as ggml;
    // SAFETY: they take nothing, change nothing and return a constant.
    let built = unsafe {
        [
            ggml::ggml_cpu_has_ssse3(),
            ggml::ggml_cpu_has_avx(),
            ggml::ggml_cpu_has_f16c(),
            ggml::ggml_cpu_has_fma(),
            ggml::ggml_cpu_has_bmi2(),
            ggml::ggml_cpu_has_avx2(),
            ggml::ggml_cpu_has_avx_vnni(),
            ggml::ggml_cpu_has_avx512(),
            ggml::ggml_cpu_has_avx512_vbmi(),
            ggml::ggml_cpu_has_avx512_vnni(),
            ggml::ggml_cpu_has_avx512_bf16(),
        ]
    };
    let here = [
        ("SSSE3", has!("ssse3")),
        ("AVX", has!("avx")),
        ("F16C", has!("f16c")),
        ("FMA", has!("fma")),
        ("BMI2", has!("bmi2")),
        ("AVX2", has!("avx2")),
        ("AVX-VNNI", has!("avxvnni")),
        ("AVX-512", has!("avx512f")),
        ("AVX-512 VBMI", has!("avx512vbmi")),
        ("AVX-512 VNNI", has!("avx512vnni")),
        ("AVX-512 BF16", has!("avx512bf16")),
    ];
    here.into_iter().zip(built).map(|((name, has), built)| (name, built != 0, has)).collect()
}

/// Elsewhere every processor that runs the program has what the recogniser is built with.
#[cfg(not(any(target_arch = "x86", target_arch = "x86_64")))]
fn sets() -> Vec<Set> {
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(sets: &[Set], expect: &str) {
        let found = refuse(sets).map_or_else(|e| e.to_string(), |()| String::new());
        assert_eq!(found, expect, "{sets:?}");
    }

    #[test]
    fn an_older_processor_is_told() {
        check(&[("AVX", true, true), ("AVX2", true, true), ("AVX-512", false, false)], "");
        check(&[("AVX2", false, true)], "");
        check(
            &[("FMA", true, false), ("AVX2", true, false), ("BMI2", false, false)],
            "this tugback's recogniser was built for processors with FMA, AVX2, which this one lacks; build tugback on \
             this computer, or give a transcript",
        );
    }

    #[test]
    fn this_processor_runs_what_was_built_on_it() {
        super::check().unwrap();
        #[cfg(target_arch = "x86_64")]
        assert!(sets().iter().any(|(name, ..)| *name == "AVX2"));
    }

    /// `.cargo/config.toml` asks for the faster products of matrices, but what was built before it did stays as it was, and
    /// listens at half the speed (8 s of speech: 0.69 s instead of 0.30 s).
    #[cfg(not(debug_assertions))]
    #[test]
    #[expect(unsafe_code, reason = "a constant of ggml")]
    fn it_was_built_to_be_fast() {
        // SAFETY: it takes nothing, changes nothing and returns a constant.
        let fast = unsafe { whisper_rs_sys::ggml_cpu_has_llamafile() } != 0;
        assert!(
            fast,
            "built without GGML_LLAMAFILE; `cargo clean --release -p whisper-rs-sys`, and build again"
        );
    }
}
