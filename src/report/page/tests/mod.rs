//! Pages stand alone, carry what they must, and are proof against hostile text.

use super::*;
use crate::picture::{Curve, Panel, TracePlot, trace};
use std::sync::Arc;
use trimproof_formula::Tested;
use trimproof_harness::judge::{Judgement, Verdict};
use trimproof_harness::rig::RigFile;
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{Case, End, Outcome, Picture};

const HOSTILE: &str = "</style><script src=\"https://x.example/\">\u{0}&amp;' onload=\"x";

fn picture() -> String {
    let curve = |name: &str, bend: f64| Curve {
        name: name.to_owned(),
        values: (0..50)
            .map(|row| bend * f64::from(row) * f64::from(row))
            .collect(),
        limit: false,
        colour: [0, 0, 0],
    };
    trace(&TracePlot {
        title: HOSTILE.to_owned(),
        tick_s: 0.01,
        panels: vec![Panel {
            title: "N".to_owned(),
            curves: vec![curve("a", 0.1), curve(HOSTILE, -0.2)],
            least: 0.0,
        }],
        ..TracePlot::default()
    })
    .unwrap()
}

fn case(name: &str) -> Case {
    let text = "title = \"A title\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 1.0\nseed = 77\n[[expect]]\nname = \"e\"\nformula = \"true\"\n";
    Case {
        name: name.to_owned(),
        rig_name: "kittiwake".to_owned(),
        file: format!("scenarios/{name}.toml").into(),
        scenario: Arc::new(Scenario::parse(text).unwrap()),
        rig: Arc::new(
            RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap(),
        ),
        lines: Arc::default(),
        warnings: Vec::new(),
        laws: Arc::default(),
    }
}

fn judgement(name: &str, margin: f64) -> Judgement {
    Judgement {
        name: name.to_owned(),
        formula: "always(pitch.stick_deg < 5)".to_owned(),
        because: Some("five degrees & no more".to_owned()),
        verdict: if margin > 0.0 {
            Verdict::Pass
        } else {
            Verdict::Fail
        },
        missing: Vec::new(),
        margin,
        unit: "deg".to_owned(),
        at_s: 0.125,
        decided_by: "pitch.stick_deg < 5".to_owned(),
        undefined: false,
        share: Some(margin / 5.0),
        equality: false,
        tested: Tested::Yes,
    }
}

fn outcome(case: &Case, end: End, judgements: Vec<Judgement>) -> Outcome {
    Outcome {
        name: case.name.clone(),
        rig_name: case.rig_name.clone(),
        end,
        simulated_s: 1.0,
        judgements,
        laws: Vec::new(),
        hash: Some("00112233".to_owned()),
        card: None,
        accuracy: None,
        pictures: vec![Picture {
            of: Some(1),
            svg: Ok(picture()),
        }],
        kept: Vec::new(),
        write_error: None,
        traffic: None,
        farewell: None,
    }
}

fn proven() -> String {
    let cases = [
        case("held-one"),
        case("broken-one"),
        case("cut-one"),
        case(HOSTILE),
    ];
    let outcomes = [
        outcome(&cases[0], End::Complete, vec![judgement("fine", 1.5)]),
        outcome(
            &cases[1],
            End::Complete,
            vec![
                judgement("fine too", 0.25),
                judgement("too far", -0.75),
                judgement("not drawn", -0.5),
            ],
        ),
        outcome(&cases[2], End::Cut("no answer".to_owned()), Vec::new()),
        outcome(&cases[3], End::NotRun, Vec::new()),
    ];
    prove(&cases, &outcomes, "logic 1", "9.8.7", None)
}

#[test]
fn what_was_never_put_to_the_test_has_a_section_with_the_reason() {
    let cases = [case("quiet")];
    let idle = Judgement {
        tested: Tested::Never("`release` was never true where it was looked at".to_owned()),
        ..judgement("idle", 1.0)
    };
    let outcomes = [outcome(
        &cases[0],
        End::Complete,
        vec![idle, judgement("busy", 2.0)],
    )];
    let page = prove(&cases, &outcomes, "logic 1", "9.8.7", None);
    for part in [
        "Never put to the test",
        "1 of them were never put to the test.",
        "`release` was never true where it was looked at",
        "20 %",
    ] {
        assert!(page.contains(part), "`{part}` is missing in:\n{page}");
    }
    let tested = [outcome(
        &cases[0],
        End::Complete,
        vec![judgement("busy", 2.0)],
    )];
    assert!(!prove(&cases, &tested, "logic 1", "9.8.7", None).contains("put to the test"));
    let silent = [Outcome::not_run(&cases[0])];
    let page = prove(
        &cases,
        &silent,
        "unknown",
        "9.8.7",
        Some("the board does not answer"),
    );
    assert!(
        page.contains("Nothing was run: the board does not answer."),
        "{page}"
    );
}

/// Asserts that a page fetches nothing and runs nothing.
fn assert_stands_alone(page: &str) {
    let code: String = page
        .split('<')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("\n<");
    for line in code.lines().filter(|line| line.starts_with('<')) {
        let tag = line.split('>').next().unwrap();
        for forbidden in [
            "http:", "https:", "src=", "href=", "url(", "<script", "<link", "<iframe", " on",
            "@import",
        ] {
            assert!(!tag.contains(forbidden), "`{forbidden}` in `{tag}`");
        }
    }
    assert!(!STYLE.contains("url(") && !STYLE.contains("@import") && !STYLE.contains("http"));
}

#[test]
fn the_page_of_prove_says_what_it_must() {
    let page = proven();
    for part in [
        "<!DOCTYPE html>",
        "1 of 4 runs pass",
        "2 of 4 expectations pass. 1 run aborted, the controller failed: not proven. 1 run stopped or not run: not proven.",
        "trimproof 9.8.7",
        "logic 1",
        ">77<",
        "+1.50 deg",
        "broken-one on kittiwake: too far",
        "always(pitch.stick_deg &lt; 5)",
        "-0.750 deg",
        "0.125 s",
        "five degrees &amp; no more",
        "at 1.000 s: no answer",
        "Not drawn: only the first failed expectations of a run are.",
        "A powered rig moves and pinches.",
        "This is no certification and no qualification",
        "<svg width=",
    ] {
        assert!(page.contains(part), "`{part}` is missing in:\n{page}");
    }
    // One picture, beside the expectation that it is about; what held is not shown at length.
    assert_eq!(page.matches("<svg").count(), 1);
    assert!(!page.contains("broken-one on kittiwake: fine too"));
    let at = |text: &str| page.find(text).unwrap();
    assert!(at("kittiwake: too far") < at("<svg") && at("<svg") < at("kittiwake: not drawn"));
    assert!(!page.to_lowercase().contains("certified"));
}

#[test]
fn a_page_stands_alone_whatever_the_names() {
    let page = proven();
    assert_stands_alone(&page);
    assert!(page.contains("&lt;script src=&quot;"));
    assert_eq!(page.matches("<style>").count(), 1);
    assert!(page.chars().all(|c| c == '\n' || !c.is_control()));
    // Without hostile names there is no address in it at all.
    let plain = render(&Page {
        title: "A page".to_owned(),
        sections: vec![Section {
            head: "One".to_owned(),
            blocks: vec![Block::Figure(Figure {
                caption: "A picture".to_owned(),
                svg: crate::picture::trace(&TracePlot {
                    tick_s: 0.1,
                    panels: vec![Panel {
                        title: "deg".to_owned(),
                        curves: vec![Curve {
                            name: "a".to_owned(),
                            values: vec![0.0, 1.0],
                            limit: true,
                            colour: [0, 0, 0],
                        }],
                        least: 0.0,
                    }],
                    ..TracePlot::default()
                })
                .unwrap(),
            })],
        }],
        ..Page::default()
    });
    assert!(!plain.contains("http") && !plain.contains("src=") && !plain.contains("href="));
}

#[test]
fn the_same_input_gives_the_same_page() {
    assert_eq!(proven(), proven());
}

#[test]
fn columns_of_numbers_are_set_to_the_right_and_rows_are_marked() {
    let cells = |row: [&str; 3]| row.map(str::to_owned).to_vec();
    let page = render(&Page {
        sections: vec![Section {
            head: "h".to_owned(),
            blocks: vec![
                Block::Text("words & more".to_owned()),
                Block::Table(Table {
                    caption: "c".to_owned(),
                    head: cells(["verdict", "value", "name"]),
                    rows: vec![
                        cells(["held", "+1.5 N", "a"]),
                        cells(["fails", "-2", "7 b"]),
                    ],
                    tones: vec![Tone::Good, Tone::Bad],
                }),
            ],
        }],
        ..Page::default()
    });
    for part in [
        "<p>words &amp; more</p>",
        "<tr class=\"good\"><td>held</td><td class=\"number\">+1.5 N</td><td>a</td></tr>",
        "<tr class=\"bad\"><td>fails</td><td class=\"number\">-2</td><td>7 b</td></tr>",
        "<th scope=\"col\" class=\"number\">value</th>",
    ] {
        assert!(page.contains(part), "`{part}` is missing in:\n{page}");
    }
}

#[test]
fn a_page_has_the_same_parts_whatever_the_texts() {
    use trimproof_diagnostics::{hostile_text, is_invisible};
    let made = |text: &dyn Fn(u64) -> String| {
        render(&Page {
            title: text(0),
            lead: format!("x{}", text(1)),
            facts: vec![(text(2), text(3))],
            sections: vec![Section {
                head: text(4),
                blocks: vec![
                    Block::Head(text(5)),
                    Block::Text(text(6)),
                    Block::Entries(vec![(text(7), text(8))]),
                    Block::Table(Table {
                        caption: format!("x{}", text(9)),
                        head: vec![text(10)],
                        rows: vec![vec![format!("x{}", text(11))]],
                        tones: vec![Tone::Bad],
                    }),
                ],
            }],
        })
    };
    let tags = |page: &str| page.matches('<').count();
    let plain = made(&|_| "plain".to_owned());
    // Twelve texts each: 10,000 in all.
    for seed in 0..834 {
        let page = made(&|part| hostile_text(12 * seed + part));
        assert!(
            !page.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {page:?}"
        );
        assert_eq!(
            page.matches('\n').count(),
            plain.matches('\n').count(),
            "{seed}"
        );
        assert_eq!(tags(&page), tags(&plain), "{seed}: {page}");
    }
    let long = made(&|_| "x".repeat(300_000));
    assert!(long.len() < 200_000, "{}", long.len());
}
