//! The page and the pictures of `prove`.

use crate::workplace::{BREAKS, STAYS, Workplace, replaced};

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/breaks.toml", BREAKS);
    place.write("scenarios/stays.toml", STAYS);
    place
}

#[test]
fn the_page_shows_every_run_and_draws_what_broke() {
    let place = place();
    let plain = place.run(&["prove"]);
    let ran = place.run(&["prove", "--html", "made/for-people/page.html"]);
    // The page changes nothing of the verdicts.
    assert_eq!((ran.code, &ran.out), (Some(1), &plain.out), "{}", ran.err);
    let page = place.read("made/for-people/page.html");
    for part in [
        "1 of 2 runs pass",
        "3 of 4 expectations pass.",
        env!("CARGO_PKG_VERSION"),
        "breaks on kittiwake: the stick is where nobody put it",
        "eventually (pitch.stick_deg &gt; 90.0)",
        "it is meant to break",
        "must be higher: pitch.stick_deg",
        "Cautions",
    ] {
        assert!(page.contains(part), "`{part}` is missing in:\n{page}");
    }
    assert_eq!(page.matches("<svg").count(), 1);
    for outside in [
        "http:", "https:", "src=", "href=", "url(", "<script", "@import",
    ] {
        assert!(!page.contains(outside), "`{outside}` stands in the page");
    }
    assert_eq!(
        std::fs::read_dir(place.path("made/for-people"))
            .unwrap()
            .count(),
        1
    );
}

#[test]
fn the_page_is_the_same_each_time_and_with_any_number_of_threads() {
    let place = place();
    let of = |threads: &str| {
        place.run(&["prove", "--threads", threads, "--html", "page.html"]);
        place.read("page.html")
    };
    let one = of("1");
    assert_eq!(one, of("1"));
    assert_eq!(one, of("3"));
}

#[test]
fn hostile_names_stay_text() {
    let place = Workplace::new();
    let hostile = "\"<script>alert(1)</script> & <b>\"";
    let text = replaced(BREAKS, "\"the stick is where nobody put it\"", hostile);
    place.write(
        "scenarios/breaks.toml",
        replaced(&text, "\"Nobody touches the stick\"", hostile),
    );
    let ran = place.run(&["prove", "--html", "page.html", "--pictures", "pictures"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    for file in ["page.html", "pictures/breaks@kittiwake.svg"] {
        let text = place.read(file);
        assert!(!text.contains("<script") && !text.contains("<b>"), "{file}");
        assert!(text.contains("&lt;script&gt;"), "{file}");
    }
}

#[test]
fn every_run_is_drawn_into_the_folder() {
    let place = place();
    let ran = place.run(&["prove", "--pictures", "new/pictures"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    for name in ["breaks", "stays"] {
        let svg = place.read(&format!("new/pictures/{name}@kittiwake.svg"));
        assert!(
            svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"),
            "{name}"
        );
        let png = std::fs::read(place.path(&format!("new/pictures/{name}@kittiwake.png"))).unwrap();
        assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"), "{name}");
    }
    assert_eq!(
        std::fs::read_dir(place.path("new/pictures"))
            .unwrap()
            .count(),
        4
    );
}

#[test]
fn a_place_that_cannot_be_written_ends_in_4_before_the_run() {
    let place = place();
    place.write("taken", "already here");
    let before = place.listing();
    for args in [
        ["prove", "--html", "scenarios"],
        ["prove", "--html", "taken/page.html"],
        ["prove", "--pictures", "taken"],
    ] {
        let ran = place.run(&args);
        assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""), "{args:?}");
        assert!(ran.err.starts_with("error: cannot write "), "{}", ran.err);
        assert_eq!(place.listing(), before, "{args:?}");
    }
    // Unusable files come first: nothing is tried or written.
    place.write("scenarios/bad.toml", "");
    let before = place.listing();
    let ran = place.run(&["prove", "--html", "new/page.html"]);
    assert_eq!(ran.code, Some(2));
    assert_eq!(place.listing(), before);
}
