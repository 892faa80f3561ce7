"""The slate room: cards to print, reading them in photos, sorting a walk by them, measuring beside them."""
