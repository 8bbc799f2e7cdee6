package dialect

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// expression is arithmetic over settings and reply values, for instruments that
// count in divisions or describe a record by other values than ours: numbers,
// names, + - * /, parentheses, comparisons (1 or 0), and the functions min, max,
// floor and steps. A name may be compared with a word in double quotes.
type expression struct {
	text string
	node ast.Expr
}

// longestExpression bounds what the parser recurses into.
const longestExpression = 500

var nameForm = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// functions are what an expression may call, with how many arguments each takes.
var functions = map[string]struct {
	arguments int
	value     func(x []float64) float64
}{
	"min":   {2, func(x []float64) float64 { return math.Min(x[0], x[1]) }},
	"max":   {2, func(x []float64) float64 { return math.Max(x[0], x[1]) }},
	"floor": {1, func(x []float64) float64 { return math.Floor(x[0]) }},
	"steps": {3, func(x []float64) float64 { return steps(x[0], x[1], x[2]) }},
}

// steps is the least of 1, a and b times a power of ten that is not below x, as
// ranges and time bases are stepped: steps(x, 2, 5) is 1, 2, 5, 10, 20, …
func steps(x, a, b float64) float64 {
	if !(x > 0) || math.IsInf(x, 0) || !(1 < a && a < b && b < 10) {
		return math.NaN()
	}
	for exponent := int(math.Floor(math.Log10(x))) - 1; ; exponent++ {
		for _, digit := range []float64{1, a, b} {
			// Read as decimal text, a step is the number nearest to it.
			step, err := strconv.ParseFloat(strconv.FormatFloat(digit, 'f', -1, 64)+"e"+strconv.Itoa(exponent), 64)
			if err != nil || step >= x*(1-1e-9) {
				return step
			}
		}
	}
}

func parseExpression(text string) (expression, error) {
	e := expression{text: text}
	if len(text) > longestExpression {
		return e, fmt.Errorf("the expression has %d characters; at most %d are taken", len(text), longestExpression)
	}
	node, err := parser.ParseExpr(text)
	if err != nil {
		return e, fmt.Errorf("%q is no expression; allowed are numbers, names, + - * /, comparisons, parentheses and %s", text, list(functions))
	}
	e.node = node
	return e, check(node)
}

// check refuses what evaluate does not know.
func check(node ast.Expr) error {
	switch n := node.(type) {
	case *ast.ParenExpr:
		return check(n.X)
	case *ast.Ident:
		if !nameForm.MatchString(n.Name) {
			return fmt.Errorf("name %q: lower-case letters, digits and underscores are allowed", n.Name)
		}
		return nil
	case *ast.BasicLit:
		if n.Kind == token.INT || n.Kind == token.FLOAT {
			_, err := strconv.ParseFloat(n.Value, 64)
			if err != nil {
				return fmt.Errorf("%s is no decimal number", n.Value)
			}
			return nil
		}
		return fmt.Errorf("%s: a word can only be compared with a name, as in name == \"WORD\"", n.Value)
	case *ast.UnaryExpr:
		if n.Op == token.SUB || n.Op == token.ADD {
			return check(n.X)
		}
		return fmt.Errorf("operator %s is not allowed; allowed are + - * / == != < > <= >=", n.Op)
	case *ast.BinaryExpr:
		if _, _, ok := comparedWithWord(n); ok {
			return nil
		}
		if !slices.Contains([]token.Token{token.ADD, token.SUB, token.MUL, token.QUO, token.EQL, token.NEQ, token.LSS, token.GTR, token.LEQ, token.GEQ}, n.Op) {
			return fmt.Errorf("operator %s is not allowed; allowed are + - * / == != < > <= >=", n.Op)
		}
		if err := check(n.X); err != nil {
			return err
		}
		return check(n.Y)
	case *ast.CallExpr:
		name, ok := n.Fun.(*ast.Ident)
		if !ok {
			return fmt.Errorf("only these functions can be called: %s", list(functions))
		}
		f, ok := functions[name.Name]
		if !ok || n.Ellipsis.IsValid() {
			return fmt.Errorf("there is no function %q; there are %s", name.Name, list(functions))
		}
		if len(n.Args) != f.arguments {
			return fmt.Errorf("function %s takes %d arguments, %d are given", name.Name, f.arguments, len(n.Args))
		}
		for _, a := range n.Args {
			if err := check(a); err != nil {
				return err
			}
		}
		return nil
	}
	return fmt.Errorf("this form of expression is not known; allowed are numbers, names, + - * /, comparisons, parentheses and %s", list(functions))
}

// comparedWithWord takes name == "WORD" or name != "WORD" apart.
func comparedWithWord(n *ast.BinaryExpr) (name, word string, ok bool) {
	id, isName := n.X.(*ast.Ident)
	lit, isWord := n.Y.(*ast.BasicLit)
	if !isName || !isWord || lit.Kind != token.STRING || n.Op != token.EQL && n.Op != token.NEQ || !nameForm.MatchString(id.Name) {
		return "", "", false
	}
	word, err := strconv.Unquote(lit.Value)
	return id.Name, word, err == nil
}

// names are the values that the expression uses, each once.
func (e expression) names() []string {
	var names []string
	ast.Inspect(e.node, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			for _, a := range n.Args {
				names = append(names, expression{node: a}.names()...)
			}
			return false
		case *ast.Ident:
			names = append(names, n.Name)
		}
		return true
	})
	slices.Sort(names)
	return slices.Compact(names)
}

// value computes the expression. A name is looked up as a number; one that is
// compared with a word as text.
func (e expression) value(numbers map[string]float64, texts map[string]string) (float64, error) {
	return evaluate(e.node, numbers, texts)
}

func evaluate(node ast.Expr, numbers map[string]float64, texts map[string]string) (float64, error) {
	switch n := node.(type) {
	case *ast.ParenExpr:
		return evaluate(n.X, numbers, texts)
	case *ast.Ident:
		v, ok := numbers[n.Name]
		if !ok {
			return 0, fmt.Errorf("no value is given for {%s}", n.Name)
		}
		return v, nil
	case *ast.BasicLit:
		return strconv.ParseFloat(n.Value, 64)
	case *ast.UnaryExpr:
		v, err := evaluate(n.X, numbers, texts)
		if n.Op == token.SUB {
			v = -v
		}
		return v, err
	case *ast.CallExpr:
		f := functions[n.Fun.(*ast.Ident).Name]
		x := make([]float64, len(n.Args))
		for i, a := range n.Args {
			v, err := evaluate(a, numbers, texts)
			if err != nil {
				return 0, err
			}
			x[i] = v
		}
		return f.value(x), nil
	case *ast.BinaryExpr:
		if name, word, ok := comparedWithWord(n); ok {
			text, known := texts[name]
			if !known {
				return 0, fmt.Errorf("no text is given for {%s}", name)
			}
			return truth(strings.EqualFold(strings.TrimSpace(text), word) == (n.Op == token.EQL)), nil
		}
		x, err := evaluate(n.X, numbers, texts)
		if err != nil {
			return 0, err
		}
		y, err := evaluate(n.Y, numbers, texts)
		if err != nil {
			return 0, err
		}
		return operate(n.Op, x, y), nil
	}
	return 0, fmt.Errorf("an expression that was not checked")
}

func operate(op token.Token, x, y float64) float64 {
	switch op {
	case token.ADD:
		return x + y
	case token.SUB:
		return x - y
	case token.MUL:
		return x * y
	case token.QUO:
		return x / y
	case token.EQL:
		return truth(x == y)
	case token.NEQ:
		return truth(x != y)
	case token.LSS:
		return truth(x < y)
	case token.GTR:
		return truth(x > y)
	case token.LEQ:
		return truth(x <= y)
	}
	return truth(x >= y)
}

func truth(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
