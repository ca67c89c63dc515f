"""The steps of a plan: each one public function, earlier values in, one frozen value out."""
