//! Boxes: where each element stands, by the rules of CSS flexbox and grid in whole pixels.
//!
//! What enters are elements and the natural sizes of their texts; what leaves is a rectangle for each element in the order of
//! the file. An element without a natural length along an axis shares what is left over there equally with its like.

use taffy::prelude::*;

use crate::draw;
use crate::language::model::{Direction, Element, ElementKind, Length};

/// Pixels across a bar where the file does not say.
const BAR_THICKNESS: u32 = 8;

/// An element's length in pixels along each axis where that follows from what it shows; `None` where it takes what it gets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Natural {
    /// From left to right.
    pub width: Option<u32>,
    /// From top to bottom.
    pub height: Option<u32>,
}

/// The box of an element and of everything inside it.
#[derive(Clone, Debug)]
pub struct Placed {
    /// The element's own box.
    pub area: draw::Rectangle,
    /// The boxes of its children, in order.
    pub children: Vec<Placed>,
}

/// Along which axis a container arranges its children.
#[derive(Clone, Copy, PartialEq)]
enum Axis {
    Across,
    Down,
    Same,
}

/// The boxes of a screen's children, arranged as a stack within `panel`; `text` gives the natural size of a text
/// element.
pub fn boxes(
    panel: draw::Rectangle,
    children: &[Element],
    text: &dyn Fn(&Element) -> Natural,
) -> Result<Vec<Placed>, taffy::TaffyError> {
    let mut tree = TaffyTree::new();
    let mut builder = Builder { tree: &mut tree, text };
    let nodes = builder.children(children, Axis::Down)?;
    let draw::Size { width, height } = panel.size;
    let style =
        Style { size: Size { width: length(width as f32), height: length(height as f32) }, ..container(Axis::Down, 1) };
    let root = tree.new_with_children(style, &nodes)?;
    let available =
        Size { width: AvailableSpace::Definite(width as f32), height: AvailableSpace::Definite(height as f32) };
    tree.compute_layout(root, available)?;
    collect(&tree, &nodes, panel.top_left)
}

fn collect(tree: &TaffyTree<()>, nodes: &[NodeId], origin: draw::Point) -> Result<Vec<Placed>, taffy::TaffyError> {
    nodes
        .iter()
        .map(|node| {
            let layout = tree.layout(*node)?;
            let corner = origin + draw::Point::new(layout.location.x as i32, layout.location.y as i32);
            let size = draw::Size::new(layout.size.width as u32, layout.size.height as u32);
            let children = collect(tree, &tree.children(*node)?, corner)?;
            Ok(Placed { area: draw::Rectangle::new(corner, size), children })
        })
        .collect()
}

struct Builder<'a> {
    tree: &'a mut TaffyTree<()>,
    text: &'a dyn Fn(&Element) -> Natural,
}

impl Builder<'_> {
    fn children(&mut self, children: &[Element], axis: Axis) -> Result<Vec<NodeId>, taffy::TaffyError> {
        children.iter().map(|child| self.node(child, axis)).collect()
    }

    /// The node of an element within a container that arranges its children along `axis`.
    fn node(&mut self, element: &Element, axis: Axis) -> Result<NodeId, taffy::TaffyError> {
        let natural = natural(element, axis, self.text);
        let (inner, children, mut style) = match &element.kind {
            ElementKind::Columns { gap, children } => {
                (Axis::Across, children.as_slice(), container(Axis::Across, *gap))
            }
            ElementKind::Stack { gap, children } => (Axis::Down, children.as_slice(), container(Axis::Down, *gap)),
            ElementKind::Overlay { children } => (Axis::Same, children.as_slice(), container(Axis::Same, 0)),
            ElementKind::Frame { thickness, padding, children } => {
                let around = length((thickness + padding) as f32);
                let padding = Rect { left: around, right: around, top: around, bottom: around };
                (Axis::Down, children.as_slice(), Style { padding, ..container(Axis::Down, 1) })
            }
            _ => (Axis::Same, &[][..], Style::default()),
        };
        style.flex_shrink = 0.0;
        if axis == Axis::Same {
            style.grid_row = line(1);
            style.grid_column = line(1);
        }
        let is_container = !children.is_empty();
        let place = element.place;
        // A container's natural length is found from its children; nothing takes a length of zero as its own.
        let least = |given: Option<Length>, natural: Option<u32>| match (given, natural) {
            (None, Some(pixels @ 1..)) if !is_container => length(pixels as f32),
            _ => length(0.0),
        };
        style.min_size = Size {
            width: least(element.place.width, natural.width),
            height: least(element.place.height, natural.height),
        };
        // Only along the arrangement is the natural length also the greatest: across it, an element stretches to its row.
        let own = |given: Option<Length>, natural: Option<u32>, along: bool| match (given, natural) {
            (Some(Length::Pixels(pixels)), _) => length(pixels as f32),
            (Some(Length::Share(share)), _) => percent(share as f32),
            (None, Some(pixels @ 1..)) if along && !is_container => length(pixels as f32),
            (None, _) => auto(),
        };
        // A bar keeps its thickness, in the middle of its row.
        let is_bar = axis != Axis::Same && matches!(element.kind, ElementKind::Bar(_));
        style.size = Size {
            width: own(place.width, natural.width, axis == Axis::Across || is_bar),
            height: own(place.height, natural.height, axis == Axis::Down || is_bar),
        };
        if is_bar {
            style.align_self = Some(AlignSelf::CENTER);
            let stretches = match axis {
                Axis::Across => natural.height.is_none() && place.height.is_none(),
                _ => natural.width.is_none() && place.width.is_none(),
            };
            if stretches {
                style.align_self = Some(AlignSelf::STRETCH);
            }
        }
        let grows = match axis {
            Axis::Across => place.width.is_none() && natural.width.is_none(),
            Axis::Down => place.height.is_none() && natural.height.is_none(),
            Axis::Same => false,
        };
        if grows {
            style.flex_grow = 1.0;
            style.flex_basis = length(0.0);
        }
        if let Some(at) = place.at {
            // Out of the arrangement; what has no length of its own reaches to the far edge.
            let far = |open: bool| if open { length(0.0) } else { auto() };
            style.position = Position::Absolute;
            style.inset = Rect {
                left: length(at.x as f32),
                top: length(at.y as f32),
                right: far(place.width.is_none() && natural.width.is_none()),
                bottom: far(place.height.is_none() && natural.height.is_none()),
            };
        }
        let nodes = self.children(children, inner)?;
        self.tree.new_with_children(style, &nodes)
    }
}

fn container(axis: Axis, gap: u32) -> Style {
    let gap = Size { width: length(gap as f32), height: length(gap as f32) };
    match axis {
        Axis::Across => Style { display: Display::Flex, flex_direction: FlexDirection::Row, gap, ..Style::default() },
        Axis::Down => Style { display: Display::Flex, flex_direction: FlexDirection::Column, gap, ..Style::default() },
        Axis::Same => Style {
            display: Display::Grid,
            grid_template_columns: vec![fr(1.0)],
            grid_template_rows: vec![fr(1.0)],
            ..Style::default()
        },
    }
}

/// The natural lengths of an element that stands in a container along `axis`. A container has one where all its children have.
fn natural(element: &Element, axis: Axis, text: &dyn Fn(&Element) -> Natural) -> Natural {
    let among = |children: &[Element], inner: Axis| {
        let children: Vec<Natural> =
            children.iter().filter(|child| child.place.at.is_none()).map(|child| sized(child, inner, text)).collect();
        let all = |length: fn(&Natural) -> Option<u32>| {
            (!children.is_empty()).then(|| children.iter().map(length).sum::<Option<u32>>()).flatten()
        };
        Natural { width: all(|child| child.width), height: all(|child| child.height) }
    };
    match &element.kind {
        ElementKind::Text(_) => text(element),
        ElementKind::Bar(bar) => match bar.direction {
            Direction::Right | Direction::Left => Natural { width: None, height: Some(BAR_THICKNESS) },
            Direction::Up | Direction::Down => Natural { width: Some(BAR_THICKNESS), height: None },
        },
        ElementKind::Trend(_) => Natural::default(),
        ElementKind::Rule { thickness } => match axis {
            Axis::Across => Natural { width: Some(*thickness), height: Some(0) },
            Axis::Down | Axis::Same => Natural { width: Some(0), height: Some(*thickness) },
        },
        // Across the arrangement neither a rule nor a space takes room: they never decide how tall a row is.
        ElementKind::Space(length) => match axis {
            Axis::Across => Natural { width: *length, height: Some(0) },
            Axis::Down => Natural { width: Some(0), height: *length },
            Axis::Same => Natural { width: Some(0), height: Some(0) },
        },
        ElementKind::Columns { children, .. } => among(children, Axis::Across),
        ElementKind::Stack { children, .. } | ElementKind::Frame { children, .. } => among(children, Axis::Down),
        ElementKind::Overlay { children } => among(children, Axis::Same),
    }
}

/// The natural lengths with those that the file gives in their place.
fn sized(element: &Element, axis: Axis, text: &dyn Fn(&Element) -> Natural) -> Natural {
    let own = natural(element, axis, text);
    let pixels = |given: Option<Length>, natural: Option<u32>| match given {
        Some(Length::Pixels(pixels)) => Some(pixels),
        Some(Length::Share(_)) => None,
        None => natural,
    };
    Natural { width: pixels(element.place.width, own.width), height: pixels(element.place.height, own.height) }
}
