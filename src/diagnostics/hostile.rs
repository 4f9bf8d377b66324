//! Text as somebody would write it who means harm, for the tests of everything that prints.

/// Characters that have broken an output somewhere, and pieces that forge one of ours.
const PIECES: [&str; 62] = [
    "\0",
    "\u{7}",
    "\u{8}",
    "\t",
    "\n",
    "\n\n",
    "\u{b}",
    "\u{c}",
    "\r",
    "\r\n",
    "\u{1b}",
    "\u{1b}[2J",
    "\u{1b}[31m",
    "\u{1b}[0m",
    "\u{1b}]0;title\u{7}",
    "\u{7f}",
    "\u{85}",
    "\u{9b}31m",
    "\u{9d}",
    "\u{ad}",
    "\u{61c}",
    "\u{180e}",
    "\u{200b}",
    "\u{200d}",
    "\u{200e}",
    "\u{200f}",
    "\u{2028}",
    "\u{2029}",
    "\u{202a}",
    "\u{202e}",
    "\u{2060}",
    "\u{2066}",
    "\u{2069}",
    "\u{feff}",
    "\u{fdd0}",
    "\u{fff9}",
    "\u{fffe}",
    "\u{ffff}",
    "\u{1fffe}",
    "\u{10ffff}",
    "\u{e0041}",
    "\u{fffd}",
    "x\n1 run: 1 held; 13 of 13 expectations held",
    "held",
    "BROKEN",
    "\"",
    "'",
    "`",
    "\\",
    "<",
    ">",
    "&",
    "&#27;",
    "]]>",
    "<!--",
    "--",
    ",",
    ";",
    "=",
    "#",
    "</script>",
    "{}",
];

/// A text for tests, up to some 100 characters: the same seed gives the same text. Half of its
/// pieces are taken from those that cannot be seen or that forge something, the others are any
/// characters and plain letters.
pub fn hostile_text(seed: u64) -> String {
    let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D_4C95_7F2D);
    let count = random.below(30);
    let mut text = String::new();
    for _ in 0..count {
        match random.below(4) {
            0 | 1 => text.push_str(PIECES[random.below(PIECES.len() as u64) as usize]),
            2 => text.push(char::from_u32(random.below(0x11_0000) as u32).unwrap_or('\u{fffd}')),
            _ => {
                text.push(['a', 'Z', '0', ' ', 'ä', '日', '\u{301}', '.'][random.below(8) as usize])
            }
        }
    }
    text
}

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA
/// 2014; the constants are from memory).
struct Random(u64);

impl Random {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) % bound
    }
}
