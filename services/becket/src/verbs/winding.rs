//! `order`, `show winding-order` and `list winding-orders`.

use becket_api::{
    document::winding_order_to_csv,
    stringing::{
        self, GetWindingOrderRequest, ListWindingOrdersRequest, ListWindingOrdersResponse,
        ReleaseWindingOrderRequest,
    },
};

use super::{call, pages};
use crate::{
    cli::{Format, ListWindingOrders, OrderWound, WindingOrder},
    context::{Context, print},
    errors::Failure,
    files, output,
};

/// Releases an order, or shows it as it would be released.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn order(context: &Context, args: &OrderWound) -> Result<(), Failure> {
    let request = ReleaseWindingOrderRequest {
        request_id: context.client.request_id(),
        serial_ids: args.serial_ids.clone(),
        reason: args.reason.clone().unwrap_or_default(),
        validate_only: args.check,
    };
    let answer = call!(context.client.winding_orders(), release_winding_order, request)?;
    let order = answer.winding_order.as_ref().ok_or(Failure::Answer("the order"))?;
    show_order(context, order)?;
    let remark = match (args.check, answer.released) {
        (true, _) => "Nothing is released.".to_owned(),
        (false, true) => format!("{} revision {} is released.", order.order_id, order.revision),
        (false, false) => format!("{} is ordered like this already; nothing is changed.", order.order_id),
    };
    context.remark(&format!("\n{remark}"))
}

/// Shows an order that is stored, or one in a file.
///
/// # Errors
/// [`Failure`] of the call, the file or of printing.
pub(super) async fn show(context: &Context, args: &WindingOrder) -> Result<(), Failure> {
    if let Some(file) = &args.file {
        return show_order(context, &files::winding_order(file)?);
    }
    let order_id = args.order_id.clone().unwrap_or_default();
    let request = GetWindingOrderRequest { order_id, revision: args.revision };
    let answer = call!(context.client.winding_orders(), get_winding_order, request)?;
    show_order(context, answer.winding_order.as_ref().ok_or(Failure::Answer("the order"))?)
}

/// Prints an order: for people, or in one of the two forms that are read back.
fn show_order(context: &Context, order: &stringing::WindingOrder) -> Result<(), Failure> {
    if context.format == Format::Csv {
        return print(&winding_order_to_csv(order));
    }
    let sheet = |units| output::winding_lines_sheet(&order.lines, units);
    context.show(order, |units| output::winding_order_text(order, units), sheet)
}

/// Lists orders.
///
/// # Errors
/// [`Failure`] of the calls or of printing.
pub(super) async fn list(context: &Context, args: ListWindingOrders) -> Result<(), Failure> {
    let service = context.client.winding_orders();
    let service = &service;
    let serial_id = &args.serial.unwrap_or_default();
    let all = pages::all(args.limit, |page_size, page_token| async move {
        let request = ListWindingOrdersRequest { page_size, page_token, serial_id: serial_id.clone() };
        let answer = call!(service, list_winding_orders, request)?;
        Ok((answer.winding_orders, answer.next_page_token))
    })
    .await?;
    let answer =
        ListWindingOrdersResponse { winding_orders: all.items, next_page_token: all.next_page_token };
    context.show_sheet(&answer, |_| output::winding_orders_sheet(&answer.winding_orders))
}
