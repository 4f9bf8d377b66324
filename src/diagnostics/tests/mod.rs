//! Every character that could change what a reader sees is shown; all others stay.

use super::*;
const TEXTS: u64 = 10_000;

#[test]
fn nothing_invisible_gets_through() {
    for seed in 0..TEXTS {
        let text = hostile_text(seed);
        assert!(
            !line(&text).contains(is_invisible),
            "{seed}: {:?}",
            line(&text)
        );
        assert!(!prose(&text).contains(is_invisible), "{seed}");
        assert!(
            !lines(&text).contains(|c| c != '\n' && is_invisible(c)),
            "{seed}"
        );
        assert_eq!(
            lines(&text).matches('\n').count(),
            text.matches('\n').count(),
            "{seed}"
        );
        let most = seed as usize % 60;
        let short = brief(&text, most);
        assert!(!short.contains(is_invisible), "{seed}");
        match text.chars().count().checked_sub(most) {
            Some(left @ 1..) => {
                assert!(
                    short.ends_with(&format!("... ({left} more characters)")),
                    "{seed}: {short}"
                );
            }
            _ => assert_eq!(short, line(&text), "{seed}"),
        }
    }
}

#[test]
fn the_texts_for_tests_are_hostile_and_always_the_same() {
    let all: String = (0..TEXTS).map(hostile_text).collect();
    for c in [
        '\0', '\n', '\r', '\u{1b}', '\u{9b}', '\u{2028}', '\u{202e}', '\u{fffe}', '\u{200b}', 'ä',
    ] {
        assert!(all.contains(c), "{c:?}");
    }
    assert_eq!(hostile_text(7), hostile_text(7));
    assert_ne!(hostile_text(7), hostile_text(8));
}

#[test]
fn a_colour_is_all_that_an_escape_can_do() {
    for seed in 0..TEXTS {
        let out = coloured(&hostile_text(seed));
        for (at, _) in out.match_indices('\u{1b}') {
            assert!(colour_length(&out[at..]).is_some(), "{seed}: {out:?}");
        }
        let without = out.replace('\u{1b}', "");
        assert!(
            !without.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {out:?}"
        );
    }
}

#[test]
fn a_quoted_text_keeps_its_lines_and_columns() {
    for seed in 0..TEXTS {
        let text = hostile_text(seed);
        let from = seed as usize % 99;
        let quoted = excerpt(&text, from..from + seed as usize % 20);
        if quoted.is_cut {
            continue;
        }
        assert_eq!(quoted.text.chars().count(), text.chars().count(), "{seed}");
        assert_eq!(
            quoted.text.matches('\n').count(),
            text.matches('\n').count(),
            "{seed}"
        );
        let hidden = quoted.text.replace("\r\n", "\n");
        assert!(
            !hidden.contains(|c| !matches!(c, '\n' | '\t') && is_invisible(c)),
            "{seed}"
        );
        let start = floor_for_test(&text, from);
        let before = &quoted.text[..quoted.span.start];
        assert_eq!(
            before.chars().count(),
            text[..start].chars().count(),
            "{seed}"
        );
        assert_eq!(before.matches('\n').count() + 1, quoted.line, "{seed}");
    }
}

fn floor_for_test(text: &str, at: usize) -> usize {
    (0..=at.min(text.len()))
        .rev()
        .find(|at| text.is_char_boundary(*at))
        .unwrap_or(0)
}

#[test]
fn letters_of_every_script_stay() {
    for text in [
        "",
        "plain",
        "Größe 10 µm ± 2 °",
        "日本語",
        "שלום",
        "مرحبا",
        "e\u{301}",
        "C:\\rigs\\a.toml",
        "👍",
    ] {
        assert!(matches!(line(text), Cow::Borrowed(same) if same == text));
        assert_eq!(lines(text), text);
        assert_eq!(coloured(text), text);
    }
}

#[test]
fn what_cannot_be_seen_is_shown_the_same_way_everywhere() {
    assert_eq!(
        line("a\n1 run: 1 held\r\t\0\u{1b}[2J\u{9b}2J\u{202e}\u{fffe}\u{200b}"),
        "a\\n1 run: 1 held\\r\\t\\0\\u{1b}[2J\\u{9b}2J\\u{202e}\\u{fffe}\\u{200b}"
    );
    assert_eq!(
        prose(" two\n  lines\u{2028}and\u{7} "),
        "two lines and\\u{7}"
    );
    assert_eq!(lines("two\nlines\r\n"), "two\nlines\\r\n");
    assert_eq!(
        coloured("\u{1b}[94mheld\u{1b}[0m \u{1b}[2J\u{1b}]0;x\u{7}\u{1b}"),
        "\u{1b}[94mheld\u{1b}[0m \\u{1b}[2J\\u{1b}]0;x\\u{7}\\u{1b}"
    );
}

#[test]
fn a_long_message_says_how_much_is_left_out() {
    let long = "x".repeat(300_000);
    assert_eq!(brief(&long, 5), "xxxxx... (299995 more characters)");
    assert_eq!(brief("xxxxx", 5), "xxxxx");
}

#[test]
fn the_caret_of_a_quoted_line_stands_where_the_fault_is() {
    let source = "a = 1\nb\u{1b}\u{202e}\u{7f} = 2\n";
    let at = source.find("= 2").unwrap();
    let quoted = excerpt(source, at..at + 1);
    assert_eq!(quoted.text, "a = 1\nb\u{241b}\u{fffd}\u{2421} = 2\n");
    assert_eq!(&quoted.text[quoted.span.clone()], "=");
    assert_eq!((quoted.line, quoted.column), (2, 6));
}

#[test]
fn of_an_endless_line_only_the_surroundings_are_quoted() {
    let source = format!(
        "{}FAULT{}\nnext\n",
        "a".repeat(300_000),
        "b".repeat(300_000)
    );
    let quoted = excerpt(&source, 300_000..300_005);
    assert!(quoted.is_cut && quoted.text.len() < 300, "{}", quoted.text);
    assert_eq!(&quoted.text[quoted.span.clone()], "FAULT");
    assert_eq!((quoted.line, quoted.column), (1, 300_001));
    assert!(quoted.text.starts_with("...a") && quoted.text.ends_with("b..."));
    // A whole file that is marked is not quoted whole.
    let many = "x\n".repeat(50_000);
    let quoted = excerpt(&many, 0..many.len());
    assert_eq!(&quoted.text[quoted.span], "x");
}
