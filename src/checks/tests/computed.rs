//! Computed values: the worked ones of `test_vectors.tsv`, each with its source beside it, and totals of small logs.

use super::super::computed::{Computed, activation_s};
use super::super::geometry;
use super::{Settings, check, lines};
use crate::tables;
use crate::words::Decimal;

/// "size=25;taper=0.04" → 25.
fn number(input: &str, name: &str) -> f64 {
    let cell = input
        .split(';')
        .find_map(|p| p.strip_prefix(&format!("{name}=")))
        .unwrap_or_else(|| panic!("{name} in {input}"));
    cell.parse().unwrap_or_else(|_| panic!("{name}={cell}"))
}

/// "(0, 10)" → (0, 10).
fn point(input: &str, name: &str) -> (f64, f64) {
    let cell = input.split(';').find_map(|p| p.strip_prefix(&format!("{name}="))).unwrap();
    let (x, y) = cell.trim_matches(['(', ')']).split_once(',').unwrap();
    (x.trim().parse().unwrap(), y.trim().parse().unwrap())
}

/// The outer diameter that a row means: "30 ISO0.30", "30 wire0.3112", "30 max0.320"; it must be the table's.
fn outer_mm(input: &str) -> f64 {
    let (gauge, said) =
        input.split(';').find_map(|p| p.strip_prefix("gauge=")).unwrap().split_once(' ').unwrap();
    let row = tables::rows("needles").find(|r| r.key() == gauge).unwrap();
    let (column, value) =
        [("ISO", "iso9626_designated_mm"), ("wire", "wiregauge_od_mm"), ("max", "iso9626_od_max_mm")]
            .iter()
            .find_map(|(mark, column)| Some((*column, said.strip_prefix(mark)?)))
            .unwrap();
    let in_table: f64 = row.get(column).parse().unwrap();
    assert!((in_table - value.parse::<f64>().unwrap()).abs() < 1e-9, "{input}: the table has {in_table}");
    in_table
}

fn flow(input: &str) -> f64 {
    let gauge = number(input, "gauge").to_string();
    tables::rows("needles")
        .find(|r| r.key() == gauge)
        .unwrap()
        .get("mean_clinical_flow_mL_per_s")
        .parse()
        .unwrap()
}

/// What is written into the log when a taper is spoken like this.
fn spoken_taper(input: &str) -> Option<f64> {
    let said = if input.starts_with('.') {
        format!("size 25 {input} rotary to length")
    } else {
        format!("size 25, {input}, rotary to length")
    };
    let breaths = crate::words::transcript::read(said.as_bytes()).ok()?.breaths;
    let found = crate::entries::Extractor::new(crate::entries::Settings::default()).extract(&breaths);
    let [entry] = found.entries.as_slice() else { return None };
    Some(entry.values.get("taper")?.number()?.to_f64())
}

/// The worked value again, by our own functions, to the places that the row shows.
fn ours(function: &str, input: &str) -> Option<String> {
    let n = |name: &str| number(input, name);
    let value = match function {
        "diameter_mm" => geometry::diameter_mm(n("size"), n("taper"), n("L"))?,
        "size_after_trimming" => geometry::size_after_trimming(n("size"), n("taper"), n("trim_mm")),
        "pct_size_step" => geometry::size_step_pct(n("from"), n("to")),
        "machining_taper_pct_to_dental" => geometry::taper_of_radius_pct(n("radius_pct")),
        "needle_bind_mm_short_of_wl" => geometry::needle_bind_mm(n("size"), n("taper"), outer_mm(input))?,
        "needle_to_size_rule_of_thumb" => {
            let gauge = n("gauge").to_string();
            let row = tables::rows("needles").find(|r| r.key() == gauge)?;
            row.number("iso9626_designated_mm")?.to_f64() * 100.0
        }
        "min_delivery_time_s" => geometry::delivery_time_s(n("volume_mL"), flow(input)),
        "curvature_angle_deg" => geometry::curvature_deg(
            point(input, "orifice"),
            point(input, "deviation"),
            point(input, "foramen"),
        ),
        "curvature_class" => return Some(geometry::curvature_class(n("deg")).to_owned()),
        "working_length_mm" => geometry::working_length_mm(n("canal_length"), n("offset")),
        "activation_total_s" => {
            activation_s(Decimal::from_f64(n("cycles")), Decimal::from_f64(n("seconds"))?).to_f64()
        }
        "taper_parse" => spoken_taper(input)?,
        "canal_cone_volume_uL" => geometry::cone_volume_ul(n("size"), n("taper"), n("L"))?,
        _ => return None,
    };
    Some(value.to_string())
}

#[test]
fn worked_values() {
    let text = include_str!("../../../tests/data/checks/test_vectors.tsv");
    let mut compared = 0;
    for line in text.lines().skip(1) {
        let [function, input, expected, source] = line.split('\t').collect::<Vec<_>>()[..] else {
            panic!("{line}")
        };
        let got = ours(function, input).unwrap_or_else(|| panic!("nothing for {line}"));
        let same = match (got.parse::<f64>(), expected.parse::<f64>()) {
            (Ok(got), Ok(expected_n)) => {
                let places = expected.split_once('.').map_or(0, |(_, d)| d.len());
                (got - expected_n).abs() <= 0.5 / 10_f64.powi(i32::try_from(places).unwrap()) + 1e-9
            }
            _ => got == expected,
        };
        assert!(same, "{function} {input}: {got}, not {expected} ({source})");
        compared += 1;
    }
    assert_eq!(compared, text.lines().count() - 1);
}

#[test]
fn nothing_is_computed_beyond_the_working_part() {
    assert_eq!(geometry::diameter_mm(25.0, 0.06, 16.01), None);
    assert_eq!(geometry::diameter_mm(25.0, 0.06, -0.01), None);
    assert_eq!(geometry::needle_bind_mm(25.0, 0.0, 0.3), None);
    assert_eq!(geometry::needle_bind_mm(6.0, 0.02, 0.5), None, "22 mm lies beyond the working part");
}

fn compute(text: &str) -> Computed {
    check(&lines::log(text).unwrap(), &Settings::default()).computed
}

/// "MB sodium-hypochlorite 3 mL; all …": totals as a person sees them.
#[track_caller]
fn volumes(text: &str, expect: &str) {
    let show = |t: &super::super::computed::IrrigantTotal| {
        format!(
            "{} {} {}",
            t.canal.as_deref().unwrap_or("all"),
            t.agent.as_deref().unwrap_or("?"),
            t.volume_ml.show("mL")
        )
    };
    assert_eq!(compute(text).irrigants.iter().map(show).collect::<Vec<_>>().join("; "), expect, "{text}");
}

#[test]
fn volumes_of_irrigants() {
    volumes(
        "36 MB irrigation agent=edta volume_ml=3\n36 MB irrigation agent=edta volume_ml=1.5\n",
        "all edta 4.5 mL",
    );
    volumes(
        "36 MB,ML,D canal-located\n36 all irrigation agent=edta volume_ml=3 each=canal\n",
        "all edta 9 mL; MB edta 3 mL; ML edta 3 mL; D edta 3 mL",
    );
    // "each canal", and nobody said which canals there are.
    volumes("36 all irrigation agent=edta volume_ml=3 each=canal\n", "all edta unknown");
    // "each file": how many files is not said.
    volumes("36 MB irrigation agent=edta volume_ml=3 each=file\n", "all edta unknown");
    // One volume for two canals: each, or together?
    volumes(
        "36 MB,ML irrigation agent=edta volume_ml=3\n",
        "all edta at least 3 mL; MB edta unknown; ML edta unknown",
    );
    volumes(
        "36 MB irrigation agent=edta volume_ml=3\n36 MB irrigation agent=edta\n",
        "all edta at least 3 mL",
    );
    volumes("36 MB irrigation agent=edta volume_ml=3 doubt=volume_ml\n", "all edta 3 mL ?");
    volumes("36 MB irrigation volume_ml=3\n", "all ? 3 mL");
    // Not done, struck, planned: not counted.
    volumes(
        "not-done 36 MB irrigation agent=edta volume_ml=3\nstruck 36 MB irrigation agent=edta volume_ml=3\n",
        "",
    );
}

#[test]
fn contact_time_runs_in_all_canals_at_once() {
    let computed = compute(
        "36 MB,ML canal-located\n36 all irrigation agent=edta duration_s=60\n36 MB irrigation agent=edta duration_s=30\n",
    );
    let show: Vec<String> = computed.irrigants.iter().map(|t| t.contact_s.show("s")).collect();
    assert_eq!(show, ["90 s", "90 s", "60 s"]);
}

#[test]
fn activation_is_cycles_times_seconds() {
    let of =
        |text: &str| compute(text).activations.iter().map(|a| a.duration_s.show("s")).collect::<Vec<_>>();
    assert_eq!(of("36 MB activation cycles=3 duration_s=20\n"), ["60 s"]);
    assert_eq!(of("36 MB activation duration_s=20\n36 MB activation duration_s=20\n"), ["40 s"]);
    assert_eq!(of("36 MB activation cycles=3\n"), ["unknown"]);
}

#[test]
fn local_anaesthetic_in_milligrams() {
    let of = |text: &str, toml: &str| {
        let settings = lines::windows(toml);
        let totals = check(&lines::log(text).unwrap(), &settings).computed.anaesthetics;
        totals
            .iter()
            .map(|t| {
                format!(
                    "{} {} {}",
                    t.agent.as_deref().unwrap_or("?"),
                    t.volume_ml.show("mL"),
                    t.dose_mg.show("mg")
                )
            })
            .collect::<Vec<_>>()
            .join("; ")
    };
    let two = "36 anaesthesia agent=lidocaine concentration_pct=2 cartridges=2\n";
    assert_eq!(of(two, ""), "lidocaine 3.6 mL 72 mg");
    assert_eq!(of(two, "cartridge_ml = 2.2"), "lidocaine 4.4 mL 88 mg");
    assert_eq!(
        of("36 anaesthesia agent=articaine concentration_pct=4 volume_ml=1.7\n", ""),
        "articaine 1.7 mL 68 mg"
    );
    assert_eq!(
        of(&format!("{two}36 anaesthesia agent=lidocaine cartridges=0.5\n"), ""),
        "lidocaine 4.5 mL at least 72 mg"
    );
    assert_eq!(
        of(&format!("{two}36 anaesthesia volume_ml=0.2\n"), ""),
        "lidocaine 3.6 mL 72 mg; ? 0.2 mL unknown"
    );
    assert_eq!(of("36 anaesthesia agent=lidocaine concentration_pct=2\n", ""), "lidocaine unknown unknown");
    assert_eq!(of("not-done 36 anaesthesia agent=lidocaine cartridges=2\n", ""), "");
}

#[test]
fn shapes_and_needles() {
    let computed = compute(
        "36 MB working-length length_mm=20\n36 MB instrumentation instrument=rotary size=25 taper=0.04 short_mm=0\n\
         36 MB irrigation gauge=27 tip_short_mm=4\n",
    );
    let canal = &computed.canals[0];
    assert_eq!((canal.size.unwrap().to_string(), canal.taper), ("25".to_owned(), Some(0.04)));
    let at = |mm| canal.levels.iter().find(|l| l.above_mm == mm).unwrap().diameter_mm;
    assert!((at(0) - 0.25).abs() < 1e-9 && (at(5) - 0.45).abs() < 1e-9 && (at(16) - 0.89).abs() < 1e-9);
    assert_eq!(canal.needles[0].binds_short_mm, Some(3.75));
    assert_eq!(canal.needles[0].thickest_binds_short_mm, Some(4.25));
}

#[test]
fn the_widest_file_at_each_level_makes_the_shape() {
    // A larger file stopped one short: narrower at the tip, wider from one millimetre up.
    let canal = &compute(
        "36 MB working-length length_mm=20\n36 MB instrumentation instrument=rotary size=20 taper=0.04 short_mm=0\n\
         36 MB instrumentation instrument=k-file size=30 depth_mm=19\n",
    )
    .canals[0];
    let show: Vec<String> =
        canal.levels.iter().take(4).map(|l| format!("{}:{}", l.above_mm, l.diameter_mm)).collect();
    assert_eq!(show, ["0:0.2", "1:0.3", "3:0.34", "5:0.4"]);
    // Larger files of unknown taper, stepped back: what is known is a lower bound, and says so.
    let back = compute(
        "11 working-length length_mm=23\n11 instrumentation instrument=k-file size=25 short_mm=0\n\
         11 instrumentation size=50 short_mm=0\n11 instrumentation size=60 short_mm=2\n",
    );
    let show: Vec<String> =
        back.canals[0].levels.iter().take(4).map(super::super::computed::LevelWidth::show).collect();
    assert_eq!(show, ["0.50", "≥0.50", "≥0.60", "≥0.60"]);
    assert_eq!(canal.size.unwrap().to_string(), "20", "the file that went to length");
}

#[test]
fn a_glide_path_is_not_the_shape() {
    let of = |files: &str| {
        let log = format!("36 MB working-length length_mm=20\n36 MB glide-path size=15 taper=0.02\n{files}");
        let canal = &compute(&log).canals[0];
        (canal.size.unwrap().to_string(), canal.short_mm.map(|mm| mm.to_string()))
    };
    let named = |size: &str, short: Option<&str>| (size.to_owned(), short.map(str::to_owned));
    let rotary = "36 MB instrumentation instrument=rotary size=40 taper=0.04";
    assert_eq!(of(&format!("{rotary} short_mm=0.5\n")), named("40", Some("0.5")));
    assert_eq!(of(&format!("{rotary} short_mm=2\n")), named("40", Some("2")));
    // Only the coronal part was shaped: the way to the working length is as wide as the glide path.
    assert_eq!(of(&format!("{rotary} short_mm=6\n")), named("15", None));
    assert_eq!(of(""), named("15", None));
}

#[test]
fn a_taper_that_was_not_said_is_not_guessed() {
    let of = |tool: &str| {
        compute(&format!("36 MB working-length length_mm=20\n36 MB instrumentation {tool} short_mm=0\n"))
    };
    assert_eq!(of("instrument=rotary size=25").canals[0].taper, None);
    let widths = |c: &Computed| {
        c.canals[0]
            .levels
            .iter()
            .take(3)
            .map(super::super::computed::LevelWidth::show)
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(widths(&of("instrument=rotary size=25")), "0.25 ≥0.25 ≥0.25");
    // A hand file's is standard (TB1), and the value says that it was taken from there.
    let hand = of("instrument=k-file size=25");
    assert_eq!(widths(&hand), "0.25 0.27 0.31");
    assert!(hand.canals[0].taper == Some(0.02) && hand.canals[0].taper_assumed);
}

#[test]
fn uses_of_files() {
    let uses = compute(
        "36 MB,ML instrumentation instrument=rotary size=25 taper=0.06 passes=3\n36 MB instrumentation instrument=rotary size=25 taper=0.06\n\
         36 D instrumentation instrument=rotary size=25 taper=0.04\n",
    )
    .instruments;
    let show: Vec<String> =
        uses.iter().map(|u| format!("{}×{} {}", u.taper.unwrap(), u.uses, u.canals.join("+"))).collect();
    assert_eq!(show, ["0.06×3 36 MB+36 ML", "0.04×1 36 D"]);
    let ten = compute(
        "36 MB patency size=10\n36 MB,ML recapitulation size=10\n36 MB glide-path size=10\nplanned 36 MB recapitulation size=10\n",
    );
    assert_eq!(ten.instruments.iter().map(|u| u.uses).collect::<Vec<_>>(), [4]);
}

#[test]
fn times_and_gaps() {
    let times =
        compute("@10 36 access\n@40 36 MB working-length length_mm=20\n@400 36 MB instrumentation size=25\n")
            .times;
    let since: Vec<_> = times.steps.iter().map(|s| s.since_last_s).collect();
    assert_eq!(since, [None, Some(30.0), Some(360.0)]);
    assert_eq!(times.gaps.len(), 1);
    assert!((times.gaps[0].from_s - 42.0).abs() < 1e-9 && (times.gaps[0].to_s - 400.0).abs() < 1e-9);
}
