"""Machine models: their files, and a site's file laid over them."""
