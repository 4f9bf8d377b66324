//! Every report is held to the two published schemas (see the head of `mod.rs`): which elements in
//! which order, which attributes, which types. Written down here by hand from the documents, as one
//! table for both: what each demands, and only what both allow.

use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use crate::rig::RigFile;
use roxmltree::{Document, Node};

use super::render;
use crate::run::LogicTarget;
use crate::scenario::Scenario;
use crate::suite::{Case, End, Outcome, Plan, run_suite};

/// Type of an attribute.
#[derive(Clone, Copy)]
enum Type {
    Text,
    /// `xs:token` of at least one character: no blanks at its ends, none beside another, no line
    /// ends.
    Token,
    /// `xs:int`.
    Whole,
    /// `xs:decimal`, which the pattern `SUREFIRE_TIME` of the other schema also takes: digits, with
    /// or without a point.
    Decimal,
    /// `ISO8601_DATETIME_PATTERN`: no zone, no fraction.
    Instant,
}

/// Element, its attributes (all of them needed), its children in order.
struct Rule {
    element: &'static str,
    attributes: &'static [(&'static str, Type)],
    children: Children,
}

enum Children {
    /// Text alone.
    Text,
    None,
    /// Any number of one element.
    Many(&'static str),
    /// One of these or none.
    OneOf(&'static [&'static str]),
    /// The suite: properties, test cases, what was written to standard output and to standard
    /// error.
    Suite,
}

const RULES: [Rule; 10] = [
    Rule {
        element: "testsuites",
        attributes: &[],
        children: Children::Many("testsuite"),
    },
    Rule {
        element: "testsuite",
        attributes: &[
            ("name", Type::Token),
            ("package", Type::Token),
            ("id", Type::Whole),
            ("timestamp", Type::Instant),
            ("hostname", Type::Token),
            ("tests", Type::Whole),
            ("failures", Type::Whole),
            ("errors", Type::Whole),
            ("skipped", Type::Whole),
            ("time", Type::Decimal),
        ],
        children: Children::Suite,
    },
    Rule {
        element: "properties",
        attributes: &[],
        children: Children::Many("property"),
    },
    Rule {
        element: "property",
        attributes: &[("name", Type::Token), ("value", Type::Text)],
        children: Children::None,
    },
    Rule {
        element: "testcase",
        attributes: &[
            ("name", Type::Token),
            ("classname", Type::Token),
            ("time", Type::Decimal),
        ],
        children: Children::OneOf(&["skipped", "error", "failure"]),
    },
    Rule {
        element: "skipped",
        attributes: &[("message", Type::Text)],
        children: Children::None,
    },
    Rule {
        element: "error",
        attributes: &[("type", Type::Text), ("message", Type::Text)],
        children: Children::Text,
    },
    Rule {
        element: "failure",
        attributes: &[("type", Type::Text), ("message", Type::Text)],
        children: Children::Text,
    },
    Rule {
        element: "system-out",
        attributes: &[],
        children: Children::Text,
    },
    Rule {
        element: "system-err",
        attributes: &[],
        children: Children::Text,
    },
];

/// What is wrong with a report; nothing if it is valid.
fn faults(xml: &str) -> Vec<String> {
    let document = match Document::parse(xml) {
        Ok(document) => document,
        Err(error) => return vec![error.to_string()],
    };
    let root = document.root_element();
    let mut found = Vec::new();
    if root.tag_name().name() != "testsuites" {
        found.push("the root is no `testsuites`".to_owned());
    }
    check(root, &mut found);
    for (id, suite) in root.children().filter(Node::is_element).enumerate() {
        let count = |name: &str| {
            let cases = suite
                .children()
                .filter(|node| node.has_tag_name("testcase"));
            cases
                .filter(|case| {
                    name.is_empty() || case.children().any(|node| node.has_tag_name(name))
                })
                .count()
        };
        for (attribute, expected) in [
            ("id", id),
            ("tests", count("")),
            ("failures", count("failure")),
            ("errors", count("error")),
            ("skipped", count("skipped")),
        ] {
            if suite.attribute(attribute) != Some(&expected.to_string()) {
                found.push(format!("`{attribute}` is not {expected}"));
            }
        }
    }
    found
}

fn check(node: Node<'_, '_>, found: &mut Vec<String>) {
    let name = node.tag_name().name();
    let Some(rule) = RULES.iter().find(|rule| rule.element == name) else {
        return found.push(format!("unknown element `{name}`"));
    };
    for attribute in node.attributes() {
        let known = rule
            .attributes
            .iter()
            .find(|(known, _)| *known == attribute.name());
        match known {
            None => found.push(format!("`{name}` may have no `{}`", attribute.name())),
            Some((_, kind)) if !fits(*kind, attribute.value()) => found.push(format!(
                "`{}` of `{name}` is {:?}",
                attribute.name(),
                attribute.value()
            )),
            Some(_) => {}
        }
    }
    for (needed, _) in rule.attributes {
        if node.attribute(*needed).is_none() && name != "skipped" {
            found.push(format!("`{name}` lacks `{needed}`"));
        }
    }
    let children: Vec<_> = node.children().filter(Node::is_element).collect();
    let names: Vec<_> = children
        .iter()
        .map(|child| child.tag_name().name())
        .collect();
    let good = match rule.children {
        Children::Text | Children::None => names.is_empty(),
        Children::Many(one) => names.iter().all(|name| *name == one),
        Children::OneOf(some) => names.len() <= 1 && names.iter().all(|name| some.contains(name)),
        Children::Suite => matches!(
            names.as_slice(),
            ["properties", cases @ .., "system-out", "system-err"]
                if cases.iter().all(|name| *name == "testcase")
        ),
    };
    if !good {
        found.push(format!("`{name}` has the children {names:?}"));
    }
    if !matches!(rule.children, Children::Text)
        && node
            .children()
            .any(|child| child.is_text() && !child.text().unwrap_or_default().trim().is_empty())
    {
        found.push(format!("`{name}` has text"));
    }
    for child in children {
        check(child, found);
    }
}

fn fits(kind: Type, value: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    match kind {
        Type::Text => true,
        Type::Token => {
            !value.is_empty() && value.split_whitespace().collect::<Vec<_>>().join(" ") == value
        }
        Type::Whole => digits(value) && value.parse::<i32>().is_ok(),
        Type::Decimal => match value.split_once('.') {
            Some((whole, part)) => digits(whole) && digits(part),
            None => digits(value),
        },
        Type::Instant => {
            let shape: String = value
                .chars()
                .map(|c| if c.is_ascii_digit() { '0' } else { c })
                .collect();
            shape == "0000-00-00T00:00:00"
        }
    }
}

fn case(expectations: &str) -> Case {
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.1\n{expectations}"
    );
    let rig = include_str!("../../../../scenarios/rigs/kittiwake.toml");
    Case {
        name: "a".to_owned(),
        rig_name: "kittiwake".to_owned(),
        file: Path::new("scenarios/a.toml").to_owned(),
        scenario: Arc::new(Scenario {
            name: "a".to_owned(),
            ..Scenario::parse(&text).unwrap()
        }),
        rig: Arc::new(RigFile::parse(rig).unwrap()),
        lines: [7, 11, 15].into(),
        warnings: Vec::new(),
        laws: Arc::default(),
    }
}

const THREE: &str = "[[expect]]\nname = \"held\"\nformula = \"always(pitch.stick_deg < 90)\"\n\
    [[expect]]\nname = \"broken & <odd>\"\nformula = \"always(pitch.stick_deg > 90)\"\nbecause = \"it \\\"must\\\"\"\n\
    [[expect]]\nname = \"empty\"\nformula = \"always(release implies false)\"\n";

fn run(cases: &[Case]) -> Vec<Outcome> {
    let plan = Plan {
        accuracy: false,
        cards: false,
        threads: NonZeroUsize::MIN,
        keep: None,
        target: &|| Box::new(LogicTarget::new()),
        draw: None,
        stop: &AtomicBool::new(false),
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

#[test]
fn a_judged_run_is_valid_and_says_where_how_close_and_whether_it_was_tested() {
    let cases = [case(THREE)];
    let outcomes = run(&cases);
    for epoch_s in [None, Some(1_700_000_000)] {
        let xml = render(&cases, &outcomes, epoch_s, None);
        assert_eq!(faults(&xml), Vec::<String>::new(), "{xml}");
    }
    let xml = render(&cases, &outcomes, Some(1_700_000_000), None);
    let document = Document::parse(&xml).unwrap();
    let property = |name: &str| {
        let found = document
            .descendants()
            .find(|node| node.has_tag_name("property") && node.attribute("name") == Some(name));
        found
            .and_then(|node| node.attribute("value"))
            .map(str::to_owned)
    };
    assert_eq!(property("file").as_deref(), Some("scenarios/a.toml"));
    assert_eq!(property("held: line").as_deref(), Some("7"));
    assert_eq!(property("broken & <odd>: line").as_deref(), Some("11"));
    assert_eq!(property("held: margin").as_deref(), Some("+90.0 deg"));
    assert_eq!(property("held: share").as_deref(), Some("100 %"));
    assert_eq!(
        property("empty: never put to the test").as_deref(),
        Some("`release` was never true where it was looked at")
    );
    assert_eq!(property("held: never put to the test"), None);
    let suite = document.root_element().first_element_child().unwrap();
    assert_eq!(suite.attribute("timestamp"), Some("2023-11-14T22:13:20"));
    assert_eq!(suite.attribute("failures"), Some("1"));
    let failure = document
        .descendants()
        .find(|node| node.has_tag_name("failure"))
        .unwrap();
    assert!(failure.text().unwrap().starts_with("scenarios/a.toml:11\n"));
    let out = document
        .descendants()
        .find(|node| node.has_tag_name("system-out"))
        .unwrap();
    assert!(
        out.text().unwrap().contains(
            "empty: pass, margin yes, worst at 0.000 s; never put to the test: `release`"
        )
    );
}

#[test]
fn what_was_not_judged_is_skipped_and_not_dropped() {
    let cases = [case(THREE)];
    for (end, kind) in [
        (End::Cut("the board fell silent".to_owned()), "aborted"),
        (End::Aborted("not finite".to_owned()), "aborted"),
        (End::Stopped, "stopped"),
        (End::NotRun, "not-run"),
    ] {
        let outcome = Outcome {
            end,
            ..Outcome::not_run(&cases[0])
        };
        let xml = render(&cases, &[outcome], None, None);
        assert_eq!(faults(&xml), Vec::<String>::new(), "{xml}");
        let document = Document::parse(&xml).unwrap();
        let suite = document.root_element().first_element_child().unwrap();
        let count = |name| suite.attribute(name).unwrap().to_owned();
        assert_eq!(
            [count("tests"), count("skipped"), count("errors")],
            ["4", "3", "1"]
        );
        assert!(xml.contains(&format!("type=\"{kind}\"")), "{xml}");
    }
}

#[test]
fn what_kept_everything_from_running_is_an_error() {
    let cases = [case(THREE)];
    let outcomes = [Outcome::not_run(&cases[0])];
    let xml = render(&cases, &outcomes, None, Some("the board does not answer"));
    assert_eq!(faults(&xml), Vec::<String>::new(), "{xml}");
    assert!(xml.contains("the board does not answer"));
}

/// The test sees what the schemas refuse, among it what stood in these reports once.
#[test]
fn the_rules_refuse_what_the_schemas_refuse() {
    let cases = [case(THREE)];
    let xml = render(&cases, &run(&cases), None, None);
    for (good, bad) in [
        ("<testsuites>", "<testsuites skipped=\"0\">"),
        ("<testsuites>", "<testsuites name=\"trimproof\">"),
        (" skipped=\"0\"", " skipped=\"no\""),
        (" hostname=\"localhost\"", ""),
        ("<testcase ", "<testcase file=\"a.toml\" "),
        (" time=\"0.100\"", " time=\"0.1 s\""),
        ("T00:00:00\"", "T00:00:00Z\""),
        ("<system-err></system-err>", ""),
        ("<properties>", "<properties/><properties>"),
        ("tests=\"3\"", "tests=\"4\""),
        ("</failure>", "<system-out/></failure>"),
    ] {
        let spoilt = xml.replacen(good, bad, 1);
        assert_ne!(spoilt, xml, "{good}");
        assert!(!faults(&spoilt).is_empty(), "{bad}");
    }
}

/// Names come from files and boards: whatever they hold, the report is XML.
#[test]
fn no_text_makes_the_report_malformed() {
    let hostile = "a]]>&\u{0}\u{1b}[31m\r\u{fffe}\u{ffff}<![CDATA[\u{202e}";
    let mut cases = [case(THREE)];
    cases[0].name = hostile.to_owned();
    let mut outcome = Outcome::not_run(&cases[0]);
    outcome.end = End::Cut(hostile.to_owned());
    let xml = render(&cases, &[outcome], None, Some(hostile));
    assert!(Document::parse(&xml).is_ok(), "{xml:?}");
}
