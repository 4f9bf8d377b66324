//! From SVG to an image, with the one font that is built in: the same on every machine.

use super::PictureError;
use resvg::{tiny_skia, usvg};
use std::sync::{Arc, LazyLock};

/// Pixels of the image for each px of the SVG.
const SCALE: f32 = 2.0;

/// Largest side of an image, pixels.
const SIDE_MAX: f32 = 16_384.0;

/// Ubuntu Light, under the Ubuntu Font Licence 1.0: see `docs/licences.md`.
static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_source(usvg::fontdb::Source::Binary(Arc::new(
        epaint_default_fonts::UBUNTU_LIGHT,
    )));
    let family = fonts
        .faces()
        .next()
        .and_then(|face| face.families.first())
        .map(|family| family.0.clone());
    if let Some(family) = family {
        fonts.set_sans_serif_family(family);
    }
    Arc::new(fonts)
});

/// Reads an SVG with the built-in font; what it refers to outside is not fetched.
pub(super) fn read(svg: &str) -> Result<usvg::Tree, PictureError> {
    let options = usvg::Options {
        fontdb: Arc::clone(&FONTS),
        font_family: "sans-serif".to_owned(),
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(svg, &options).map_err(|error| PictureError::NoSvg(error.to_string()))
}

/// Makes a PNG of a picture, twice as many pixels as the SVG states.
///
/// # Errors
/// If the text is no SVG, or one so large that there is no image of it.
pub fn png(svg: &str) -> Result<Vec<u8>, PictureError> {
    let tree = read(svg)?;
    let (width, height) = (tree.size().width() * SCALE, tree.size().height() * SCALE);
    let fail = |why: &str| PictureError::NoSvg(why.to_owned());
    if !(1.0..=SIDE_MAX).contains(&width) || !(1.0..=SIDE_MAX).contains(&height) {
        return Err(fail("its size is out of range"));
    }
    let mut image = tiny_skia::Pixmap::new(width.ceil() as u32, height.ceil() as u32)
        .ok_or_else(|| fail("its size is out of range"))?;
    let scale = tiny_skia::Transform::from_scale(SCALE, SCALE);
    resvg::render(&tree, scale, &mut image.as_mut());
    image
        .encode_png()
        .map_err(|error| PictureError::Drawing(error.to_string()))
}
