"""One module per part of the page; each function answers one address and calls the library's rooms."""
