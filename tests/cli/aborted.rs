//! A run that the twin cannot compute: an own verdict, an own exit code, nothing judged, the trace
//! so far kept.

use crate::workplace::Workplace;

/// Two kilonewtons on a stop of a light stick: no stop stands that.
const THROUGH_THE_STOP: &str = r#"
title = "A push that no stop stands"
purpose = "The twin leaves what it can compute."
rigs = ["kittiwake"]
length_s = 3.0

[[do]]
at_s = 1.0
what = "push"
pitch_n = 5000.0
rise_s = 0.05
for_s = 1.5

[[expect]]
name = "time goes on"
formula = "always(time_s >= 0)"
because = "it always does: a verdict of the run as far as it went would be good"
"#;

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/through.toml", THROUGH_THE_STOP);
    place
}

#[test]
fn a_run_that_cannot_be_computed_is_aborted_everywhere() {
    let place = place();
    let ran = place.run(&[
        "prove", "--keep", "out", "--junit", "out.xml", "--html", "out.html",
    ]);
    assert_eq!(ran.code, Some(5), "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("aborted  through"), "{}", ran.out);
    assert!(
        ran.out
            .contains("1 run: 0 pass, 1 aborted; 0 of 0 expectations pass"),
        "{}",
        ran.out
    );
    let trace = place.read("out/through@kittiwake.csv");
    assert!(trace.contains("note.cut=the twin cannot compute the run: "));
    let xml = place.read("out.xml");
    assert!(
        xml.contains("type=\"aborted\"")
            && xml.contains("errors=\"1\"")
            && xml.contains("failures=\"0\""),
        "{xml}"
    );
    let page = place.read("out.html");
    assert!(page.contains("aborted") && page.contains("the twin cannot compute the run"));
    let ran = place.run(&["prove", "--format", "json"]);
    let verdicts: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let run = &verdicts["runs"][0];
    assert_eq!(verdicts["exit_code"], 5);
    assert_eq!(run["verdict"], "aborted");
    assert!(run["reason"].as_str().unwrap().contains(" at 1.0"), "{run}");
    assert_eq!(run["expectations"].as_array().unwrap().len(), 0);
}
