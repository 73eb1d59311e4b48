"""Where the parts are put together; the only room that knows all of them."""
